"""Clocks that differ from lane to lane: their edges are found as data, and registers take theirs by a word of rises.

The engine knows clocks of one bit. So the lanes share one strobe, which toggles whenever the clock of any lane
has moved since the last time; every register of these clocks takes part at each toggle, each lane only if its own
clock had its edge. Lanes that are at rest do not notice.

A register has one edge, and the strobe toggles: so what moves with it is the exclusive or of two registers, one
for each edge, of which only one moves at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from .faults import Site
from .netlist import Cell, Const, Override, Register, Slice, Word

if TYPE_CHECKING:
    from .lane_netlist import _Widening


@dataclass(frozen=True)
class _Pair:
    """The values of the registers that move at the strobe's rise and at its fall, and what both stand for."""

    rise: int
    fall: int
    shown: Word


class LaneClocks:
    """The clocks of one netlist of lanes that are not alike in all of them."""

    def __init__(self, to: _Widening) -> None:
        self.to = to
        self.pairs: dict[int, _Pair] = {}  # by the value of the state
        self.levels: dict[Word, _Pair] = {}  # of each clock: its level when the strobe toggled last
        self.registers: list[Register] = []

    @cached_property
    def strobe(self) -> int:
        """The value of the strobe."""
        return self.to.value(1)

    def state(self, register: Register, state: Word) -> Word:
        """What a register shows: itself, or both halves if its clock is not one for all lanes."""
        if self.to.common.is_common(register):
            return state
        (part,) = state.parts
        assert isinstance(part, Slice)
        return self._pair(part.value).shown

    def register(self, index: int, data: Word, overrides: Sequence[Override]) -> Register:
        """The half of a register that moves at the rise; the other one is made aside."""
        to, old = self.to, self.to.old.registers[index]
        assert old.clock is not None
        clock = to.read(old.clock, Site("clock", index))
        before = self._level(clock).shown
        if old.rising:
            edge = to.word("$and", clock, to.word("$not", before))
        else:
            edge = to.word("$and", to.word("$not", clock), before)
        pair = self.pairs[to.states[index]]
        following = to.word("$bwmux", pair.shown, data, edge)
        for override in overrides:  # they are stronger than an edge, and may be gone after it
            following = to.word("$bwmux", following, override.value, override.mask)
        return self._halves(pair, following, overrides, old.name, old.src)

    def finish(self) -> tuple[list[Register], dict[str, int]]:
        """All other registers, and the port that is 1 for the first settling."""
        to = self.to
        if not self.levels:
            return [], {}
        name = "startup"
        while name in to.inputs:
            name += "_"
        startup = to.value(1)
        moved = Word.const(0, to.lanes)
        for clock, pair in self.levels.items():
            moved = to.word("$or", moved, to.word("$xor", clock, pair.shown))
            first = Override(to.over_lanes(Word.value(startup, 1)), clock)
            self.registers.append(self._halves(pair, clock, [first], "", ""))
        self._toggle(moved)
        return self.registers, {name: startup}

    def _toggle(self, moved: Word) -> None:
        """The strobe is its phase, or the opposite while something has moved; the phase follows it."""
        to = self.to
        rise, fall = to.value(1), to.value(1)
        phase = to.word("$xor", Word.value(rise, 1), Word.value(fall, 1))
        event = to.value(1)
        to.cells.append(Cell("$reduce_or", event, (moved,), {}))
        to.cells.append(Cell("$xor", self.strobe, (phase, Word.value(event, 1)), {}))
        strobe, zero = Word.value(self.strobe, 1), Const(0, 1)
        up = to.word("$not", Word.value(fall, 1))
        self.registers.append(Register(rise, 1, strobe, True, up, (), zero))
        self.registers.append(Register(fall, 1, strobe, False, Word.value(rise, 1), (), zero))

    def _level(self, clock: Word) -> _Pair:
        if clock not in self.levels:
            self.levels[clock] = self._pair(self.to.value(self.to.lanes))
        return self.levels[clock]

    def _pair(self, rise: int) -> _Pair:
        to = self.to
        fall = to.value(to.lanes)
        shown = to.word("$xor", Word.value(rise, to.lanes), Word.value(fall, to.lanes))
        pair = self.pairs[rise] = _Pair(rise, fall, shown)
        return pair

    def _halves(
        self, pair: _Pair, following: Word, overrides: Sequence[Override], name: str, src: str
    ) -> Register:
        """Both registers of a pair: together they become `following` at a toggle; the falling one is put aside."""
        to = self.to
        strobe, zero = Word.value(self.strobe, 1), Const(0, to.lanes)
        rise, fall = Word.value(pair.rise, to.lanes), Word.value(pair.fall, to.lanes)
        forced = tuple(Override(o.mask, to.word("$xor", o.value, fall)) for o in overrides)
        after = to.word("$xor", following, rise)
        self.registers.append(Register(pair.fall, to.lanes, strobe, False, after, (), zero))
        after = to.word("$xor", following, fall)
        return Register(pair.rise, to.lanes, strobe, True, after, forced, zero, name, src)
