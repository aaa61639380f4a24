"""The record of what a run reveals: how many faults, when, and which not."""

from __future__ import annotations

import math
from collections.abc import Sequence

from forelight.sim.frozen import frozen

#: Quantile of the normal distribution for an interval of 95 %.
_TWO_SIGMA = 1.96


@frozen
class StuckLine:
    """A line that is always at `stuck`, in words, and the lines of the source that it belongs to.

    `number` tells it from others of the same words: its place among the faults that are tried.
    """

    number: int
    line: str
    stuck: int
    places: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.line} stuck at {self.stuck}"


@frozen
class Growth:
    """By the end of `step`, `seconds` after the slot is up, so many faults have been revealed."""

    step: int
    seconds: float
    revealed: int


@frozen
class Coverage:
    """Of `tried` single stuck-at faults `revealed` make a settled output bit another than foretold.

    Faults that nothing can tell apart count once (collapsed by equivalence: Bushnell and Agrawal 2000, 4.5). `faults`
    is how many the design has; where these are many, those that were tried are drawn by chance. `missed` are not
    revealed; `hopeless` could be revealed by no run: nothing leads from them to an output, or the logic is redundant.
    `growth` has an entry for each step that reveals more.
    """

    faults: int
    tried: int
    revealed: int
    missed: tuple[StuckLine, ...] = ()
    hopeless: tuple[StuckLine, ...] = ()
    growth: tuple[Growth, ...] = ()

    @property
    def possible(self) -> int:
        """How many of those tried some run might reveal."""
        return self.tried - len(self.hopeless)

    @property
    def share(self) -> float:
        """Of the faults that some run might reveal, 0 to 1."""
        return self.revealed / self.possible if self.possible else 1.0

    @property
    def margin(self) -> float:
        """By how much the share of all faults may be another, with 95 % confidence; 0 where all were tried.

        The interval of a proportion, with half a fault added on either side (Agresti and Coull 1998), and less where
        much of the whole was drawn.
        """
        if self.tried == self.faults or not self.possible:
            return 0.0
        share = (self.revealed + 2) / (self.possible + 4)
        left = 1 - self.tried / self.faults
        return _TWO_SIGMA * math.sqrt(share * (1 - share) / (self.possible + 4) * left)

    def __str__(self) -> str:
        return f"{self.revealed} of {self.possible} stuck-at faults show on an output: {self.share:.1%}"

    def to_json(self) -> dict[str, object]:
        """As plain values."""
        return {
            "fault_count": self.faults,
            "tried": self.tried,
            "possible": self.possible,
            "revealed": self.revealed,
            "share": self.share,
            "margin": self.margin,
            "missed": [vars(line) for line in self.missed],
            "hopeless": [vars(line) for line in self.hopeless],
            "growth": [vars(entry) for entry in self.growth],
        }


def union(parts: Sequence[Coverage]) -> Coverage:
    """Of several runs of one design together, all with the same faults tried; without their growth."""
    first = parts[0]
    missed = set(first.missed).intersection(*(part.missed for part in parts[1:]))
    left = tuple(line for line in first.missed if line in missed)
    return Coverage(first.faults, first.tried, first.possible - len(left), left, first.hopeless)
