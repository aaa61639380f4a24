"""The board's end of the chain: sends the eight lines to the selected position and collects what it captured."""

from amaranth.hdl import Cat, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


class Terminal(wiring.Component):
    """Talks to the chain while the bits of the selected position are on their way (`window`).

    `lines` are what the selected slot's inputs shall be, steady for the whole frame; bit `bit` of them is on
    `serial_out`. The bits that arrive at `serial_in` become the board's output pins, all at once, at `last`.
    """

    window: In(1)
    shift: In(1)
    last: In(1)
    bit: In(3)
    lines: In(8)
    serial_out: Out(1)
    serial_in: In(1)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.d.comb += self.serial_out.eq(self.window & self.lines.bit_select(self.bit, 1))

        received = Signal(8)
        after = Signal(8)
        m.d.comb += after.eq(Mux(self.window & self.shift, Cat(received[1:], self.serial_in), received))
        m.d.oscillator += received.eq(after)
        with m.If(self.last):
            m.d.oscillator += self.outputs.eq(after)
        return m
