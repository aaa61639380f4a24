"""Whether a recording begins before the slot was up, where nothing is foretold, or only seems to.

Theory of operation. A recording that is laid so that its beginning lies before the golden's start always fits there:
nothing is foretold of a set-up. That is right if the set-up was recorded, and wrong if the design ran and made an error
on the way: what lies after the error fits by itself. Where the line that ends the set-up was recorded, it tells. Where
it was not, the changes before the start tell: those of a design that runs fit the golden somewhere, those of a set-up
fit nowhere.
"""

from __future__ import annotations

from enum import Enum

import numpy as np

from .align import GATE
from .edges import Edges
from .prepare import View
from .timebase import TimeBase

FEW = 8  # changes that fit somewhere by chance
RUNS, RESTS = (
    0.75,
    0.5,
)  # the share of changes that fit somewhere: at least, if a design runs; below, if it is set up


class Beginning(Enum):
    """What a recording begins with, as it is laid."""

    INSIDE = "after the set-up"
    SET_UP = "in the set-up"
    ASTRAY = "the design ran already"
    UNKNOWN = "it cannot be told"


def beginning(view: View, base: TimeBase) -> Beginning:
    """What the recording begins with if this time base is right."""
    golden = view.golden
    if not golden.onward:
        return Beginning.INSIDE
    start, onward = base.to_capture(np.array([golden.since - GATE, golden.onward + GATE]))
    before = view.edges.between(view.start, float(start))
    if not len(before.time):
        return Beginning.INSIDE
    told = [
        _ends_between(view, number, float(start), float(onward))
        for number in view.inputs
        if _moves(view, number)
    ]
    if told:
        return Beginning.SET_UP if all(told) else Beginning.ASTRAY
    share = _fitting(view, base, before)
    if share < RESTS:
        return Beginning.SET_UP
    return Beginning.ASTRAY if share >= RUNS and len(before.time) >= FEW else Beginning.UNKNOWN


def _moves(view: View, number: int) -> bool:
    """Whether the golden moves this line to end the set-up."""
    times = view.golden.lines[view.telling[number]].times
    return bool(np.diff(np.searchsorted(times, [view.golden.freed, view.golden.onward]))[0])


def _ends_between(view: View, number: int, start: float, stop: float) -> bool:
    """Whether the recording moves this line then, to where it is when the slot is up."""
    golden = view.golden.lines[view.telling[number]]
    line = view.lines[view.telling[number]]
    moved = (line.times > start) & (line.times < stop) & (np.arange(len(line.times)) > 0)
    return bool((line.levels[moved] == golden.at(np.array([view.golden.onward]))[0]).any())


def _fitting(view: View, base: TimeBase, before: Edges) -> float:
    """The largest share of these changes that have a partner after the start, however many steps later."""
    time = base.to_golden(before.time)
    first = np.ceil(view.golden.since - time[0])
    shifts = np.arange(first, max(view.golden.end - time[-1], first + 1))
    best = 0.0
    for some in np.array_split(shifts, 1 + len(shifts) * len(time) // (1 << 18)):
        distance = view.nearest.distance(before.kind, time + some[:, None])
        best = max(best, float((np.abs(distance) < GATE).mean(axis=1).max(initial=0.0)))
    return best
