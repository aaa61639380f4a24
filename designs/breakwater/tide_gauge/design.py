"""Tide gauge: counts from 0 up to 9 and down again, as the tide does, in decimal on the display."""

from amaranth.hdl import Array, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

#: The lit segments of each digit; 6 and 9 have their tails (segments a and d).
DIGITS = ["abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg"]


def shape(segments: str) -> int:
    """The seven outputs for these segments, a in bit 0."""
    return sum(1 << "abcdefg".index(segment) for segment in segments)


class TideGauge(wiring.Component):
    """The water level on segments a to g; the point is lit while the tide rises; i0 holds it still."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        hold = self.inputs[0]

        level = Signal(range(10))
        rising = Signal(init=1)
        with m.If(~hold):
            with m.If(rising):
                m.d.sync += level.eq(level + 1)
                m.d.sync += rising.eq(level != 8)  # the next level is 9: high water
            with m.Else():
                m.d.sync += level.eq(level - 1)
                m.d.sync += rising.eq(level == 1)  # the next level is 0: low water

        m.d.comb += self.outputs[0:7].eq(Array(shape(digit) for digit in DIGITS)[level])
        m.d.comb += self.outputs[7].eq(rising)
        return m
