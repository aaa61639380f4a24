"""Swell density: a number becomes a density of ones, evenly spread, which a needle or an eye averages."""

from amaranth.hdl import Cat, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


class SwellDensity(wiring.Component):
    """Of any 64 steps in a row o0 is 1 in as many as switches i0 to i5 say: a sigma-delta converter of first order."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        height = self.inputs[0:6]

        # What the output still owes, in 64ths; each time that a whole has come together, a one pays it.
        owed = Signal(6)
        one = Signal()
        m.d.sync += Cat(owed, one).eq(owed + height)

        m.d.comb += self.outputs[0].eq(one)
        return m
