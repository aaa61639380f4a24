"""Berth number: a letter and two figures, one after the other on one digit."""

from amaranth.hdl import Array, Const, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

#: Lit segments; 6 and 9 have their tails (segments a and d).
FIGURES = ["abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg"]
LETTER = "cdefg"  # a small b, for berth
DARK = ""


def shape(segments: str) -> Const:
    """The seven outputs for these segments, a in bit 0."""
    return Const(sum(1 << "abcdefg".index(segment) for segment in segments), 7)


class BerthNumber(wiring.Component):
    """Switches i0 to i5 hold the number; b, tens, ones and a dark step follow each other, the point on the b."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        place = Signal(2)
        number = Signal(6)
        m.d.sync += place.eq(place + 1)
        with m.If(place == 0):
            m.d.sync += number.eq(self.inputs[0:6])  # kept for the round, so that no two numbers mix

        figures = Array(shape(segments) for segments in FIGURES)
        with m.Switch(place):
            with m.Case(0):
                m.d.comb += self.outputs[0:7].eq(shape(LETTER))
            with m.Case(1):
                m.d.comb += self.outputs[0:7].eq(figures[number // 10])
            with m.Case(2):
                m.d.comb += self.outputs[0:7].eq(figures[number % 10])
            with m.Case(3):
                m.d.comb += self.outputs[0:7].eq(shape(DARK))
        m.d.comb += self.outputs[7].eq(place == 0)
        return m
