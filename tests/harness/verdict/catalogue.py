"""What designs of the catalogue show when they are brought up and run: goldens, and the same step by step."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from forelight.designs.catalogue import load_design, names
from forelight.harness.asking.question import Asked, question
from forelight.harness.boards.profile import Board
from forelight.harness.golden.golden import Golden
from forelight.sim.errors import ForelightError
from numpy.typing import NDArray

STEPS, MOST_STEPS = 400, 6000
LIST, LEAST = 60, 20  # entries that a list has at most, and steps of a run at least
POWER_UPS = 16


@dataclass(frozen=True)
class Shown:
    """A run of a design on the board `quay`: its golden, in which steps count from where the slot is up, at the tick
    `start`; and for each step from there on what the outputs show at its end and which of them are settled (uint8)."""

    name: str
    board: Board
    golden: Golden
    start: int
    outputs: NDArray[np.uint8]
    settled: NDArray[np.uint8]

    def moves(self, first: int, count: int) -> int:
        """How many of these entries differ from the one before."""
        rows = slice(first, first + count)
        seen = self.outputs[rows] & self.settled[rows]
        return int(np.count_nonzero(seen[1:] != seen[:-1]))


def _runs(name: str) -> Iterator[Shown]:
    """The usual run, and those of the datasheet."""
    for run in (None, *(run.name for run in load_design(name).runs)):
        asked = Asked(name, "quay", None, None, {}, run, None, None, 0, POWER_UPS, None if run else STEPS)
        try:
            asking = question(asked)
            golden = asking.golden()
        except ForelightError:
            continue
        start = asking.start()
        before = int(golden.steps[int(np.searchsorted(golden.ticks, start, side="right")) - 1])
        golden = replace(golden, steps=golden.steps - before)
        count = int(golden.steps[-1]) + 1
        if LEAST < count < MOST_STEPS:
            rows = np.searchsorted(golden.steps, np.arange(count), side="right") - 1
            yield Shown(name, asking.board, golden, start, golden.outputs[rows], golden.settled[rows])


@cache
def shown(name: str) -> Shown | None:
    """The run of that design in which most happens in so many steps; None where there is none."""
    return max(_runs(name), key=lambda run: run.moves(0, LIST), default=None)


@cache
def moving(least: int = 3) -> tuple[str, ...]:
    """The names of the designs whose outputs change so often in the first steps."""
    return tuple(name for name in names() if (run := shown(name)) and run.moves(0, STEPS) >= least)
