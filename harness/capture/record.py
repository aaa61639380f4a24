"""A capture: what an instrument, or an eye, recorded on the bench."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Levels = NDArray[np.uint8]
Ints = NDArray[np.int64]

ENOUGH = 1 << 16  # instants that tell whether there is a grid
KNOT = 512  # times between two of which a straight line is guessed
#: What a recording may hold: a row for each sample, or for each change alone.
SAMPLES, CHANGES = "samples", "changes"
RUNS = 8  # of a line, which tell whether it moves from one place of a grid to the next
ITS_OWN = 0.15  # of these follow one another and are no longer than the grid: a design's own, and no samples'
#: The lines that a capture can hold. `step` and `restart` are lines of their own on boards that have such.
LINES = (*(f"i{n}" for n in range(8)), *(f"o{n}" for n in range(8)), "step", "restart")


@frozen
class RecordedLine:
    """The changes of one recorded line: `levels` (0, 1 or GAP) hold from the time of the same index, which rise."""

    times: Floats
    levels: Levels

    def at(self, times: Floats) -> Levels:
        """The levels at these times, GAP before the first."""
        row = np.searchsorted(self.times, times, side="right") - 1
        return np.where(row < 0, np.uint8(UNKNOWN), self.levels[np.maximum(row, 0)]).astype(np.uint8)


@frozen
class Capture:
    """A recording of some of a design's lines.

    `unit` says what times count: `seconds`, `samples` (at a rate that nobody stated), or `steps` (no times at all,
    only what was seen at each step). `holds` is `SAMPLES` or `CHANGES`. `start` and `end` bound what was observed: a
    sample lasts until the next one, and what came after the last of the changes nobody knows, unless it is stated.
    `period` is the time between two samples, those behind changes too; 0 where the instants of change themselves were
    recorded. `notes` say in plain sentences what was guessed. `signs` is how many different entries there may be in
    what an eye wrote down.
    """

    lines: Mapping[str, RecordedLine]
    start: float
    end: float
    unit: str = "seconds"
    period: float = 0.0
    source: str = ""
    notes: tuple[str, ...] = field(default=())
    signs: int = 256
    holds: str = CHANGES

    @property
    def timed(self) -> bool:
        return self.unit != "steps"

    @property
    def last_change(self) -> float:
        """When a line changed for the last time; `end` where there is no line."""
        return max((float(line.times[-1]) for line in self.lines.values()), default=self.end)


def changes_only(times: Floats, levels: Levels) -> RecordedLine:
    """A line from one level for each time (which may repeat: the last one holds), without repetitions."""
    last = times[1:] > times[:-1]
    if not last.all():
        last = np.append(last, True)
        times, levels = times[last], levels[last]
    changed = levels[1:] != levels[:-1]
    if changed.all():
        return RecordedLine(times, levels)
    rows = np.concatenate([[0], np.flatnonzero(changed) + 1])
    return RecordedLine(times[rows], levels[rows])


def quantum(times: Floats) -> float:
    """The sample period behind instants of change that fall on a regular grid; 0 where they do not.

    The smallest distance is taken as a first guess and refined on ever longer distances, so that printed times that
    were rounded do not hide a grid.
    """
    instants = np.unique(times[:ENOUGH])
    if len(instants) < 3:  # a beginning and an end
        return 0.0
    gaps = np.unique(np.diff(instants))
    if len(gaps) < 2 or gaps[0] <= 0:
        return float(gaps[0]) if len(gaps) else 0.0
    period, reach = float(gaps[0]), 4.0
    while True:
        near = gaps[gaps <= reach * period]
        count = np.maximum(np.round(near / period), 1)
        if np.abs(near / period - count).max() > 0.2:
            return 0.0
        period = float(near.sum() / count.sum())
        if len(near) == len(gaps):
            return period
        reach *= 4


def sampled_every(lines: Iterable[RecordedLine]) -> float:
    """The sample period behind the changes of some lines; 0 where they were not sampled, so far as can be told.

    Changes that lie whole steps apart have a grid too, and that is the design's own. By such a grid a line that is
    busy moves again and again from one place to the next; between two samples it does so for a spike alone.
    """
    changes = [line.times[1:][:ENOUGH] for line in lines]
    grid = quantum(np.concatenate(changes)) if changes else 0.0
    for times in changes:
        short = np.diff(times) < 1.5 * grid
        if len(short) >= RUNS and np.mean(short[1:] & short[:-1]) > ITS_OWN:
            return 0.0
    return grid


def places(times: Floats, marks: Floats) -> Ints:
    """The same as `np.searchsorted(times, marks)`, and faster where both rise and the times lie evenly.

    A straight line between some of the times gives a guess; where it is wrong, the place is sought.
    """
    if len(times) < KNOT:
        return np.searchsorted(times, marks)
    last = len(times) - 1
    knots = np.append(np.arange(0, last, KNOT), last)
    found: Ints = np.interp(marks, times[knots], knots).astype(np.int64)
    found += times.take(found) < marks
    wrong = times.take(found, mode="clip") < marks
    wrong |= times.take(found - 1, mode="clip") >= marks
    rows = np.flatnonzero(wrong)
    found[rows] = np.searchsorted(times, marks[rows])
    return found
