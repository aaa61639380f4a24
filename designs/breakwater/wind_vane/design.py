"""Wind vane: reads the Gray code of a vane's four tracks as a number, from 0 for north on around to 15."""

from amaranth.hdl import Cat, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


class WindVane(wiring.Component):
    """Tracks on i0 to i3; the direction in sixteenths of a turn on o0 to o3; o7 is lit for north."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        tracks = self.inputs[0:4]

        # Each bit of the number says whether an odd number of tracks from this one upwards reads 1.
        direction = Signal(4)
        m.d.comb += direction.eq(Cat(tracks[bit:].xor() for bit in range(4)))

        m.d.comb += self.outputs[0:4].eq(direction)
        m.d.comb += self.outputs[7].eq(direction == 0)
        return m
