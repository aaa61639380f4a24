"""Sluice keeper: a processor of seven instructions, with a program inside that keeps a pond between two marks."""

from enum import IntEnum

from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.memory import Memory
from amaranth.lib.wiring import In, Out

#: A line is an instruction, perhaps with a label before it; a place or a number from 0 to 31 follows the verb.
PROGRAM = """
shut:  show 8      # the gate is shut: a bar at the bottom
full:  look 1      # has the water reached the upper mark?
       zero full
       show 2      # the motor opens the gate
       load 31
up:    add 31      # one less: the number goes round at 32
       some up
       show 1      # the gate is open: a bar at the top
low:   look 2      # does the water still reach the lower mark?
       some low
       show 4      # the motor shuts the gate
       load 31
down:  add 31
       some down
       goto shut
"""


class Verb(IntEnum):
    LOAD = 0  # the number becomes so much
    ADD = 1  # the number grows by so much
    LOOK = 2  # the number becomes those of the inputs i0 and i1 that are named
    SHOW = 3  # the outputs o0 to o3 become so much
    GOTO = 4  # go on there
    ZERO = 5  # go on there if the number is 0
    SOME = 6  # go on there if it is not


def assemble(program: str) -> list[int]:
    """The words of the program: the place or number in bits 0 to 4, the verb above."""
    lines = [line.partition("#")[0].split() for line in program.strip().splitlines()]
    labels = {line[0]: place for place, line in enumerate(lines) if line[0].endswith(":")}

    def value(text: str) -> int:
        return labels[f"{text}:"] if f"{text}:" in labels else int(text)

    return [Verb[verb.upper()].value << 5 | value(text) for *_, verb, text in lines]


class SluiceKeeper(wiring.Component):
    """An instruction a step; i0 is 1 from the upper mark on, i1 from the lower mark on; o0 to o3 show the gate."""

    inputs: In(8)
    outputs: Out(8)

    def __init__(self, program: str = PROGRAM) -> None:
        self.words = assemble(program)
        super().__init__()

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.program = program = Memory(shape=8, depth=32, init=self.words)
        word = program.read_port(domain="comb")
        place = Signal(5)
        m.d.comb += word.addr.eq(place)
        verb = word.data[5:8]
        operand = word.data[0:5]

        number = Signal(5)
        shown = Signal(4)
        go = Signal()
        with m.Switch(verb):
            with m.Case(Verb.LOAD):
                m.d.sync += number.eq(operand)
            with m.Case(Verb.ADD):
                m.d.sync += number.eq(number + operand)
            with m.Case(Verb.LOOK):
                m.d.sync += number.eq(self.inputs[0:2] & operand)
            with m.Case(Verb.SHOW):
                m.d.sync += shown.eq(operand)
            with m.Case(Verb.GOTO):
                m.d.comb += go.eq(1)
            with m.Case(Verb.ZERO):
                m.d.comb += go.eq(number == 0)
            with m.Case(Verb.SOME):
                m.d.comb += go.eq(number != 0)
        m.d.sync += place.eq(Mux(go, operand, place + 1))

        m.d.comb += self.outputs[0:4].eq(shown)
        return m
