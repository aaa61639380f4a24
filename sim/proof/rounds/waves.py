"""Bits on the move: besides what a bit may be meanwhile, whether it may rise and whether it may fall."""

from __future__ import annotations

from ...gates.builder import ONE, ZERO, Bit
from ..rails import Rails, TernaryBuilder


class TooManyCells(Exception):
    """There are more gates than were allowed."""


class WaveBuilder(TernaryBuilder):
    """A three-valued builder whose bits may be on the move from one rest to the next.

    Beside the rails, which here say what a bit may be at any time of the move, `moves(bit)` gives whether it may
    rise and whether it may fall. A bit that only rises makes one clean edge, however long each gate and each
    wire takes: the output of a gate moves only when one of its inputs does, and the other inputs decide
    which way (the ternary hazards of Eichelberger 1965, with the direction of a change kept as well). A
    choice is one gate, without a hazard of its own where both choices are alike. Raises TooManyCells beyond
    `most_cells`.
    """

    def __init__(self, most_cells: int | None = None) -> None:
        super().__init__()
        self._most_cells = most_cells
        self._waves: dict[tuple[Bit, Bit, Bit, Bit], Bit] = {}
        self._moves: dict[Bit, tuple[Bit, Bit]] = {}

    def wave(self, may0: Bit, may1: Bit, rises: Bit, falls: Bit) -> Bit:
        """The bit of four; it is an ordinary one where it can neither rise nor fall."""
        if (rises, falls) == (ZERO, ZERO):
            return self.of(may0, may1)
        found = self._waves.get((may0, may1, rises, falls))
        if found is None:
            if self._most_cells is not None and len(self.rails.cells) > self._most_cells:
                raise TooManyCells
            found = self._waves[may0, may1, rises, falls] = self.another((may0, may1))
            self._moves[found] = rises, falls
        return found

    def moves(self, bit: Bit) -> tuple[Bit, Bit]:
        """Whether it may rise, and whether it may fall."""
        return self._moves.get(bit, (ZERO, ZERO))

    def still(self, bit: Bit) -> Bit:
        """The same rails, not on the move."""
        return self.of(*self.pair(bit))

    def between(self, before: Rails, after: Rails) -> Bit:
        """The bit that goes from one value to another; one that is unknown before and after stands still."""
        both, either = self.rails.both, self.rails.either
        moved = either(*(self.rails.differ(a, b) for a, b in zip(before, after, strict=True)))
        rises = both(moved, both(before[0], after[1]))
        falls = both(moved, both(before[1], after[0]))
        return self.wave(either(before[0], after[0]), either(before[1], after[1]), rises, falls)

    def level(self, plain: Bit) -> Bit:
        """A bit that has the level of an ordinary bit."""
        return self.of(self.rails.inverter(plain), plain)

    def picked(self, select: Bit, low: Bit, high: Bit) -> Bit:
        """One of two, moves and all, by an ordinary bit."""
        return self.wave(*(self.rails.choose(select, *each) for each in self._sides(low, high)))

    def joined(self, a: Bit, b: Bit) -> Bit:
        """What may be whatever either of two may be, and move as either may move."""
        return self.wave(*(self.rails.either(*each) for each in self._sides(a, b)))

    def met(self, a: Bit, b: Bit) -> Bit:
        """What may be only what both of two may be, at rest."""
        return self.of(*(self.rails.both(*each) for each in zip(self.pair(a), self.pair(b), strict=True)))

    def differences(self, a: Bit, b: Bit) -> list[Bit]:
        """Ordinary bits, some of which are 1 where two bits are not alike."""
        return [self.rails.differ(*each) for each in self._sides(a, b)]

    def _sides(self, a: Bit, b: Bit) -> list[tuple[Bit, Bit]]:
        return list(zip((*self.pair(a), *self.moves(a)), (*self.pair(b), *self.moves(b)), strict=True))

    def inverter(self, a: Bit) -> Bit:
        may0, may1 = self.pair(a)
        rises, falls = self.moves(a)
        return self.wave(may1, may0, falls, rises)

    def both(self, a: Bit, b: Bit) -> Bit:
        levels = self.pair(super().both(a, b))
        return self.wave(*levels, *self._through(a, b, 1))

    def either(self, a: Bit, b: Bit) -> Bit:
        levels = self.pair(super().either(a, b))
        return self.wave(*levels, *self._through(a, b, 0))

    def _through(self, a: Bit, b: Bit, open_at: int) -> tuple[Bit, Bit]:
        """The moves of a gate that follows one input while the other is at a level."""
        both, either = self.rails.both, self.rails.either
        of_a, of_b = self.pair(a)[open_at], self.pair(b)[open_at]
        rises, falls = (
            either(both(x, of_b), both(y, of_a)) for x, y in zip(self.moves(a), self.moves(b), strict=True)
        )
        return rises, falls

    def differ(self, a: Bit, b: Bit) -> Bit:
        return self.choose(a, b, self.inverter(b))

    def choose(self, select: Bit, low: Bit, high: Bit) -> Bit:
        both, either = self.rails.both, self.rails.either
        levels = self.pair(super().choose(select, low, high))
        (s0, s1), (l0, l1), (h0, h1) = self.pair(select), self.pair(low), self.pair(high)
        up, down = self.moves(select)
        jumps = (
            either(both(up, both(l0, h1)), both(down, both(h0, l1))),
            either(both(up, both(l1, h0)), both(down, both(h1, l0))),
        )
        rises, falls = (
            either(jump, either(both(s0, of_low), both(s1, of_high)))
            for jump, of_low, of_high in zip(jumps, self.moves(low), self.moves(high), strict=True)
        )
        return self.wave(*levels, rises, falls)


#: Rails of a bit of which nothing is known, moves included.
WILD = ONE, ONE, ONE, ONE
