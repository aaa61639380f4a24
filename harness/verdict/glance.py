"""Refuses a recording at a glance: by outputs that rest or move in a prediction, and were seen otherwise."""

from __future__ import annotations

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.sim.levels import UNKNOWN

from ..capture.record import Capture, Ints, RecordedLine
from ..golden.golden import Golden

LATE = 0.5  # of a recording: only its later half surely lies behind the set-up
SHARE = 0.2  # of that, in which a line must be seen otherwise
#: Of the changes that a line makes at least in such a time so many must be missing, beside a few.
MISSING, BESIDE = 0.5, 8
SLOWER = 1.25  # times the prediction's pace, at which a recording's clock surely does not run
CELL = 1 / 4  # of the shortest run in a prediction: so much of it is mostly at one level
CELLS = 8  # of these are there at least in a recording
SPIKES = 0.2  # of a cell may be at the other level
MIXED = 0.6  # of the cells are more mixed than that, where a line moves sooner


def refused(golden: Golden, capture: Capture, start: int) -> str | None:
    """Why a recording cannot be of this prediction, of which the slot is up from the tick `start` on: a sentence; None
    where nothing is plain.

    A line that is settled at one level to the end was seen at the other for long; or one that keeps still for some time
    whenever it does was seen to move all the while; or one that moves often was seen to rest.
    """
    rows = slice(max(int(np.searchsorted(golden.ticks, start, side="right")) - 1, 0), None)
    steady = int(np.bitwise_and.reduce(golden.settled[rows]))
    begin = capture.start + LATE * (capture.end - capture.start)
    ticks = golden.ticks[rows]
    for bit, name in enumerate(OUTPUT_LINES):
        line = capture.lines.get(name)
        if line is None or not steady >> bit & 1:
            continue
        levels = golden.outputs[rows] >> bit & 1
        changes = ticks[1:][levels[1:] != levels[:-1]]
        ends = np.append(line.times[1:], capture.end)
        long = np.maximum(ends - np.maximum(line.times, begin), 0.0)
        known = line.levels != UNKNOWN
        much = SHARE * (capture.end - begin)
        if not len(changes):
            level = int(levels[0])
            if long[known & (line.levels != level)].sum() > much:
                return f"Line {name} is predicted to stay {level} and was seen at {1 - level}."
        elif capture.unit == "seconds":
            hz = golden.oscillator_hz
            short = float(np.diff(changes).min(initial=golden.end - int(ticks[0]))) / hz
            if _mixed(line, begin, capture.end, short * CELL) > MIXED:
                return (
                    f"Line {name} is predicted to keep still for {short:.3g} s at least, "
                    "and was seen to move sooner all the while."
                )
            seen = int(np.count_nonzero(line.times[1:] > begin))
            least = _fewest(changes, int(ticks[0]), golden.end, (capture.end - begin) / SLOWER * hz)
            if seen < MISSING * least - BESIDE:
                return (
                    f"Line {name} is predicted to change {least} times at least, "
                    f"where it was seen to change {seen} times."
                )
    return None


def _mixed(line: RecordedLine, begin: float, end: float, cell: float) -> float:
    """In which share of cells so long a line is at both levels, spikes apart."""
    count = max(int((end - begin) / cell), CELLS)
    if MIXED * count > len(line.times):  # a change mixes one cell, and there may be millions of these
        return 0.0
    bounds = np.linspace(begin, end, count + 1)
    times = np.append(line.times, max(end, line.times[-1]))
    runs = np.diff(times)
    both = np.ones(len(bounds) - 1, bool)
    for level in (0, 1):
        spent = np.concatenate([[0.0], np.cumsum(np.where(line.levels == level, runs, 0.0))])
        both &= np.diff(np.interp(bounds, times, spent)) > SPIKES * (bounds[1] - bounds[0])
    return float(both.mean())


def _fewest(changes: Ints, begin: int, end: int, ticks: float) -> int:
    """How many of these changes there are at least in so many ticks from `begin` to `end`; 0 where they do not last so
    long."""
    begins = np.append([begin], changes)
    begins = begins[begins + ticks <= end]
    # The fewest begin just behind a change.
    made = np.searchsorted(changes, begins + ticks) - np.searchsorted(changes, begins, side="right")
    return int(made.min(initial=len(changes))) if len(begins) else 0
