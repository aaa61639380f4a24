"""Morse lamp: one of four messages, over and over; the whole digit is the lamp and a step lasts a dot."""

from amaranth.hdl import Const, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

#: The place in the list is the number on the pins; PARIS is the word that speeds are measured with.
MESSAGES = ["PARIS", "BREAKWATER", "FOG AT QUAY", "TIDE 5"]

#: The letters and figures of ITU-R M.1677-1, section 1.1, that occur in the messages.
SIGNS = {
    "A": ".-",
    "B": "-...",
    "D": "-..",
    "E": ".",
    "F": "..-.",
    "G": "--.",
    "I": "..",
    "K": "-.-",
    "O": "---",
    "P": ".--.",
    "Q": "--.-",
    "R": ".-.",
    "S": "...",
    "T": "-",
    "U": "..-",
    "W": ".--",
    "Y": "-.--",
    "5": ".....",
}


def lamp(message: str) -> Const:
    """The lamp for one period: bit n is 1 if it is lit in the n-th dot. Section 1.2 has the spaces."""
    words = [
        "000".join("0".join("1" if sign == "." else "111" for sign in SIGNS[letter]) for letter in word)
        for word in message.split()
    ]
    dots = "".join(word + "0000000" for word in words)
    return Const(int(dots[::-1], 2), len(dots))


class MorseLamp(wiring.Component):
    """Pins i0 and i1 choose the message; the point marks its first dot."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        lamps = [lamp(message) for message in MESSAGES]
        dot = Signal(range(max(len(dots) for dots in lamps)))
        lit = Signal()
        with m.Switch(self.inputs[0:2]):
            for code, dots in enumerate(lamps):
                with m.Case(code):
                    m.d.comb += lit.eq(dots.bit_select(dot, 1))
                    # Not ==: the message may have changed to a shorter one.
                    m.d.sync += dot.eq(Mux(dot >= len(dots) - 1, 0, dot + 1))

        m.d.comb += self.outputs[0:7].eq(lit.replicate(7))
        m.d.comb += self.outputs[7].eq(dot == 0)
        return m
