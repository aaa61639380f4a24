"""The slot selector: the number of a slot to the one position of the chain that takes part in a frame."""

from __future__ import annotations

from amaranth.hdl import Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


class Selector(wiring.Component):
    """Slot n sits at position n: bit n of `chosen` is high while slot n is selected, the others are low."""

    def __init__(self, positions: int) -> None:
        self.positions = positions
        super().__init__({"slot": In(range(max(positions, 2))), "chosen": Out(positions)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        for position in range(self.positions):
            m.d.comb += self.chosen[position].eq(self.slot == position)
        return m
