"""Six small circuits of common kinds, in Amaranth: what the engines are compared on.

Each has eight inputs, of which it uses the low six, eight outputs and one clock. The same circuit stands in
`verilog/` and `c/` under the same name, written by hand as is usual there; a test holds all of them equal.
"""

from dataclasses import dataclass

from amaranth.hdl import C, Cat, Module, Mux, Signal
from amaranth.lib.memory import Memory

from .design import Design


class Counter(Design):
    """An eight-bit counter whose upper half shows as a hexadecimal digit; the dot is the bit below.

    i0 runs it, i1 makes it count down.
    """

    SEGMENTS = bytes.fromhex("3F065B4F666D7D077F6F777C395E7971")

    def elaborate(self, platform: object) -> Module:
        m = Module()
        count = Signal(8)
        with m.If(self.inputs[0]):
            with m.If(self.inputs[1]):
                m.d.sync += count.eq(count - 1)
            with m.Else():
                m.d.sync += count.eq(count + 1)
        with m.Switch(count[4:8]):
            for digit, segments in enumerate(self.SEGMENTS):
                with m.Case(digit):
                    m.d.comb += self.outputs[:7].eq(segments)
        m.d.comb += self.outputs[7].eq(count[3])
        return m


class Lfsr(Design):
    """A sixteen-bit shift register with the feedback x^16 + x^14 + x^13 + x^11 + 1.

    i0 runs it, i1 shows the upper half.
    """

    def elaborate(self, platform: object) -> Module:
        m = Module()
        state = Signal(16, init=1)
        feedback = state[15] ^ state[13] ^ state[12] ^ state[10]
        with m.If(self.inputs[0]):
            m.d.sync += state.eq(Cat(feedback, state[:15]))
        m.d.comb += self.outputs.eq(Mux(self.inputs[1], state[8:], state[:8]))
        return m


class Dimmer(Design):
    """A lamp dimmed by pulse width: the level on the six inputs is taken over at the start of a period of 256 steps."""

    def elaborate(self, platform: object) -> Module:
        m = Module()
        phase = Signal(8)
        level = Signal(6)
        last = Signal()
        lit = Signal()
        m.d.comb += [last.eq(phase == 255), lit.eq(phase < Cat(C(0, 2), level))]
        m.d.sync += phase.eq(phase + 1)
        with m.If(last):
            m.d.sync += level.eq(self.inputs[:6])
        m.d.comb += self.outputs.eq(Cat(lit, last, level))
        return m


class Serial(Design):
    """A serial transmitter, 8N1, sixteen clocks a bit, that sends a message for ever while i0 is high.

    o0 is the line, o1 busy, o2 the first clock of a bit; o4 to o7 are the number of the character.
    """

    MESSAGE = b"WIND SW 6 SEA 4\n"

    def elaborate(self, platform: object) -> Module:
        m = Module()
        divider = Signal(4)
        bit = Signal(3)
        index = Signal(4)
        shift = Signal(8)
        line = Signal()
        busy = Signal()
        tick = Signal()
        m.submodules.message = message = Memory(shape=8, depth=16, init=self.MESSAGE)
        character = message.read_port(domain="comb")
        m.d.comb += [character.addr.eq(index), tick.eq(divider == 15)]
        with m.FSM():
            with m.State("IDLE"):
                m.d.comb += line.eq(1)
                with m.If(self.inputs[0]):
                    m.d.sync += [shift.eq(character.data), divider.eq(0)]
                    m.next = "START"
            with m.State("START"):
                m.d.comb += busy.eq(1)
                m.d.sync += divider.eq(divider + 1)
                with m.If(tick):
                    m.d.sync += bit.eq(0)
                    m.next = "DATA"
            with m.State("DATA"):
                m.d.comb += [busy.eq(1), line.eq(shift[0])]
                m.d.sync += divider.eq(divider + 1)
                with m.If(tick):
                    m.d.sync += [shift.eq(shift >> 1), bit.eq(bit + 1)]
                    with m.If(bit == 7):
                        m.next = "STOP"
            with m.State("STOP"):
                m.d.comb += [busy.eq(1), line.eq(1)]
                m.d.sync += divider.eq(divider + 1)
                with m.If(tick):
                    m.d.sync += index.eq(index + 1)
                    m.next = "IDLE"
        m.d.comb += self.outputs.eq(Cat(line, busy, busy & (divider == 0), C(0, 1), index))
        return m


class Processor(Design):
    """An eight-bit accumulator processor: sixteen bytes of memory for program and data, two clocks an instruction.

    The upper four bits of an instruction are the operation, the lower four an address or a number; the outputs show the
    accumulator. The program adds a number to a total as often as the pins say, rotates the total into a new number, and
    starts again.
    """

    (
        LOAD,
        ADD,
        SUBTRACT,
        AND,
        XOR,
        STORE,
        JUMP,
        JUMP_NOT_ZERO,
        JUMP_CARRY,
        ADD_NUMBER,
        LOAD_NUMBER,
        ROTATE,
        PINS,
    ) = range(13)
    TOTAL, NUMBER, TIMES = 13, 14, 15
    PROGRAM = (
        LOAD << 4 | TOTAL,
        ADD << 4 | NUMBER,
        STORE << 4 | TOTAL,
        LOAD << 4 | TIMES,
        ADD_NUMBER << 4 | 15,  # the number is signed: -1
        STORE << 4 | TIMES,
        JUMP_NOT_ZERO << 4 | 0,
        LOAD << 4 | TOTAL,
        ROTATE << 4,
        STORE << 4 | NUMBER,
        PINS << 4,
        STORE << 4 | TIMES,
        JUMP << 4 | 0,
        0x01,
        0x5B,
        0x03,
    )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.memory = memory = Memory(shape=8, depth=16, init=self.PROGRAM)
        read = memory.read_port(domain="comb")
        write = memory.write_port()
        execute = Signal()
        counter = Signal(4)
        instruction = Signal(8)
        accumulator = Signal(8)
        carry = Signal()
        argument = instruction[:4]

        m.d.comb += [
            read.addr.eq(Mux(execute, argument, counter)),
            write.addr.eq(argument),
            write.data.eq(accumulator),
            self.outputs.eq(accumulator),
        ]
        m.d.sync += execute.eq(~execute)
        with m.If(~execute):
            m.d.sync += [instruction.eq(read.data), counter.eq(counter + 1)]
        with m.Else(), m.Switch(instruction[4:]):
            with m.Case(self.LOAD):
                m.d.sync += accumulator.eq(read.data)
            with m.Case(self.ADD):
                m.d.sync += Cat(accumulator, carry).eq(accumulator + read.data)
            with m.Case(self.SUBTRACT):
                m.d.sync += Cat(accumulator, carry).eq(accumulator - read.data)
            with m.Case(self.AND):
                m.d.sync += accumulator.eq(accumulator & read.data)
            with m.Case(self.XOR):
                m.d.sync += accumulator.eq(accumulator ^ read.data)
            with m.Case(self.STORE):
                m.d.comb += write.en.eq(1)
            with m.Case(self.JUMP):
                m.d.sync += counter.eq(argument)
            with m.Case(self.JUMP_NOT_ZERO), m.If(accumulator != 0):
                m.d.sync += counter.eq(argument)
            with m.Case(self.JUMP_CARRY), m.If(carry):
                m.d.sync += counter.eq(argument)
            with m.Case(self.ADD_NUMBER):
                m.d.sync += accumulator.eq(accumulator + argument.as_signed())
            with m.Case(self.LOAD_NUMBER):
                m.d.sync += accumulator.eq(argument)
            with m.Case(self.ROTATE):
                m.d.sync += Cat(accumulator, carry).eq(Cat(carry, accumulator))
            with m.Case(self.PINS):
                m.d.sync += accumulator.eq(self.inputs[:6])
        return m


class Multiplier(Design):
    """A serial multiplier, 32 by 32 bits: four clocks to load, 32 to shift and add, eight to show the product.

    The product is shown byte by byte, lowest first. The operands come from a shift register with feedback, one of
    them mixed with the six inputs.
    """

    def elaborate(self, platform: object) -> Module:
        m = Module()
        noise = Signal(16, init=1)
        factor = Signal(32)
        product = Signal(64)  # while at work: the sum so far above what is left of the other factor
        count = Signal(5)
        total = Signal(33)
        m.d.sync += noise.eq(Cat(noise[15] ^ noise[13] ^ noise[12] ^ noise[10], noise[:15]))
        m.d.sync += count.eq(count + 1)
        m.d.comb += total.eq(product[32:] + Mux(product[0], factor, 0))
        with m.FSM():
            with m.State("LOAD"):
                m.d.sync += [
                    factor.eq(Cat(factor[8:], noise[:8])),
                    product.eq(Cat(product[8:32], noise[8:] ^ self.inputs[:6])),
                ]
                with m.If(count == 3):
                    m.d.sync += count.eq(0)
                    m.next = "MULTIPLY"
            with m.State("MULTIPLY"):
                m.d.sync += product.eq(Cat(product[1:32], total))
                with m.If(count == 31):
                    m.d.sync += count.eq(0)
                    m.next = "SHOW"
            with m.State("SHOW"):
                m.d.sync += product.eq(product[8:])
                with m.If(count == 7):
                    m.d.sync += count.eq(0)
                    m.next = "LOAD"
        m.d.comb += self.outputs.eq(product[:8])
        return m


@dataclass(frozen=True)
class Circuit:
    """One circuit of the comparison.

    `steady` is the input byte of the runs with constant inputs, clock and reset low.
    """

    name: str
    design: type[Design]
    steady: int


CIRCUITS = (
    Circuit("counter", Counter, 0x01),
    Circuit("lfsr", Lfsr, 0x01),
    Circuit("dimmer", Dimmer, 0x19),
    Circuit("serial", Serial, 0x01),
    Circuit("processor", Processor, 0x21),
    Circuit("multiplier", Multiplier, 0x2A),
)
