"""Whether a recording begins before the slot was up, where nothing is foretold, or only seems to.

Theory of operation. A recording that is laid so that its beginning lies before the golden's start always fits there:
nothing is foretold of a set-up. That is right if the set-up was recorded, and wrong if the design ran and made an error
on the way: what lies after the error fits by itself. Where the line that ends the set-up was recorded, it tells. Where
it was not, what lies before the start tells: a design that runs fits the golden somewhere, a set-up fits nowhere.
"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum

import numpy as np

from .align import GATE, MOST
from .edges import Edges
from .judge import compare
from .prepare import View
from .timebase import TimeBase

SLIPS = (-1, 1, -2, 2)  # steps that may have been gained or lost
LIKELY = 24  # places that are looked at bit by bit
FEW = 8  # changes that fit somewhere by chance
RUNS = 0.75  # the share of changes that fit somewhere, at least, if the design ran
RESTS = 0.5  # and at most, if it was set up
SAME = 0.9  # of the changes that have a partner, so many have one elsewhere where the golden repeats itself
WRONG = 0.25  # the share of bits that may differ there by one error: that of two lines out of eight


class Beginning(Enum):
    """What a recording begins with, as it is laid."""

    INSIDE = "what is foretold"
    TOLD = "in the set-up, as the line that ends it tells"
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
    begin = float(base.to_golden(np.array([view.start]))[0])
    told = [
        _ends_between(view, number, float(start), float(onward))
        for number in view.inputs
        if _moves(view, number)
    ]
    if not all(told) and begin < golden.since - 2 * GATE:
        return Beginning.ASTRAY
    if not len(before.time) or begin > -GATE:
        return Beginning.INSIDE
    if told:
        return Beginning.TOLD if all(told) else Beginning.ASTRAY
    share, shift, wrong = _fitting(view, base, before)
    if share < RESTS or wrong > WRONG:
        return Beginning.SET_UP
    ran = share >= RUNS and len(before.time) >= FEW and _slipped(view, base, float(start), shift)
    return Beginning.ASTRAY if ran else Beginning.UNKNOWN


def _slipped(view: View, base: TimeBase, start: float, shift: float) -> bool:
    """Whether a step more or less, or none, parts what lies before the start, `shift` steps later, from the rest."""
    rest = view.edges.between(start, view.end).part(slice(None, MOST))
    time = base.to_golden(rest.time)
    for slip in (0, *SLIPS):
        if abs(shift + slip) < 1:
            continue  # the place itself: whether the first steps are a set-up or came late cannot be told
        moved = time + shift + slip
        on = moved < view.golden.end
        partners = np.abs(view.nearest.distance(rest.kind[on], moved[on])) < GATE
        there = np.abs(view.nearest.distance(rest.kind[on], time[on])) < GATE
        if on.any() and partners.sum() >= SAME * there.sum():
            return True
    return False


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


def _fitting(view: View, base: TimeBase, before: Edges) -> tuple[float, float, float]:
    """The largest share of these changes that have a partner after the start, how many steps later that is, and the
    share of bits that differ then. Where the lines fit at several places nearly as well, the bits decide."""
    time = base.to_golden(before.time)
    first = np.ceil(view.golden.since - time[0])
    shifts = np.arange(first, max(view.golden.end - time[-1], first + 1))
    shares = [
        (np.abs(view.nearest.distance(before.kind, time + some[:, None])) < GATE).mean(axis=1)
        for some in np.array_split(shifts, 1 + len(shifts) * len(time) // (1 << 18))
    ]
    share = np.concatenate(shares)
    likely = np.argsort(-share, kind="stable")[:LIKELY]
    likely = likely[share[likely] >= SAME * share[likely[0]]]
    stop = float(base.to_capture(np.array([view.golden.since - GATE]))[0])
    wrong = []
    for shift in shifts[likely]:
        there = replace(base, golden=base.golden + shift)
        found = compare(view.lines, view.golden, there, (view.start, stop), view.blur)
        wrong.append(len(found.differences.time) / max(found.bits, 1))
    best = int(np.argmin(wrong))
    return float(share[likely[best]]), float(shifts[likely[best]]), wrong[best]
