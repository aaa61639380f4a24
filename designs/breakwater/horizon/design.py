"""Horizon: how far away the horizon is for an eye so high above the sea, by a square root, a bit a step."""

from amaranth.hdl import Cat, Const, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

#: Distance squared, in tenths of a nautical mile, is so many times the height in metres: 2.08 miles at one metre.
SQUARED_PER_METRE = 433


class Horizon(wiring.Component):
    """Height of the eye in metres on i0 to i5; o0 to o7 are the distance in tenths of a nautical mile, rounded down."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        height = self.inputs[0:6]

        # The root by hand, as in school but in binary: two bits of the square give one bit of the root.
        square = Signal(16)  # what has not been brought down yet, at its upper end
        rest = Signal(9)
        root = Signal(8)
        brought = Cat(square[14:16], rest)
        trial = Cat(Const(0b01, 2), root)  # what the rest loses if the next bit of the root is 1
        fits = brought >= trial
        next_root = Cat(fits, root[0:7])
        m.d.sync += square.eq(square << 2)
        m.d.sync += root.eq(next_root)
        m.d.sync += rest.eq(brought)
        with m.If(fits):
            m.d.sync += rest.eq(brought - trial)

        # Every eighth step a root is complete and the next one begins.
        distance = Signal(8)
        place = Signal(3)
        m.d.sync += place.eq(place + 1)
        with m.If(place == 7):
            m.d.sync += distance.eq(next_root)
            m.d.sync += square.eq(SQUARED_PER_METRE * height)
            m.d.sync += rest.eq(0)
            m.d.sync += root.eq(0)

        m.d.comb += self.outputs.eq(distance)
        return m
