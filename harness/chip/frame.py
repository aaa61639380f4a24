"""The frame counter: which tick of the frame it is, and which bit of the chain is on its way."""

from __future__ import annotations

from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out


class FrameCounter(wiring.Component):
    """Counts `ticks_per_bit * 8 * positions` ticks, all of them, and begins anew.

    `first` and `last` are high in the frame's first and last tick, `shift` in the last tick of each bit. `bit` and
    `position` say which bit of which position travels.
    """

    def __init__(self, positions: int, ticks_per_bit: int) -> None:
        self.positions = positions
        self.ticks_per_bit = ticks_per_bit
        super().__init__(
            {
                "first": Out(1),
                "shift": Out(1),
                "last": Out(1),
                "bit": Out(3),
                "position": Out(range(max(positions, 2))),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        tick = Signal(range(max(self.ticks_per_bit, 2)))
        ends_position = self.shift & (self.bit == 7)
        m.d.comb += [
            self.first.eq((tick == 0) & (self.bit == 0) & (self.position == 0)),
            self.shift.eq(tick == self.ticks_per_bit - 1),
            self.last.eq(ends_position & (self.position == self.positions - 1)),
        ]
        m.d.oscillator += tick.eq(Mux(self.shift, 0, tick + 1))
        with m.If(self.shift):
            m.d.oscillator += self.bit.eq(self.bit + 1)
        with m.If(ends_position):
            m.d.oscillator += self.position.eq(Mux(self.last, 0, self.position + 1))
        return m
