"""Lays a capture on a golden: of the alignments that the search has found, the one that explains most.

Theory of operation. The search goes from the surest to the widest: on the step line's axis, near the predicted rate,
at any rate; it stops where the fit cannot be chance. The best few fits get a time base each, and the one by which
most bits agree is taken. If bits differ there, a step may have been lost or gained on the way: then the capture fits
before the slip at one offset, and after it at another, and the longer part has won. What went wrong, went wrong at
the slip; so an offset that explains more edges at the capture's beginning, up to its own first difference, is
preferred.

A capture that may begin in the set-up, of which nothing is foretold, is laid there if the recorded restart says so, or
if far less differs then. Where something differs one way and nothing another, and it cannot be told which is right,
that is an open question.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from .align import GATE, MOST, Search, search
from .chance import SMALL, Chance, anchored, chance
from .early import SLIPS, Beginning, beginning
from .judge import Comparison, compare
from .prepare import View
from .timebase import TimeBase, rejoined, settle, straight, track

NEAR = 0.06  # rates that are searched at first, on both sides of the predicted one
FAR = 64.0  # and at last
BEYOND = 3  # edges beyond the golden's ends that cannot all be spikes
NUDGES = (0.25, 0.5, 0.75, 1.0)  # of what a time base may be off
FEWER = 0.5  # of the bits may differ if the recording is to begin in the set-up, where no line tells
MORE = 2  # edges that another offset must explain beyond the first one, or lines that are wrong without it


Placed = tuple[TimeBase, Comparison]


class Question(Enum):
    """What cannot be told of a recording."""

    SET_UP = "whether it begins before the slot was up"
    NO_SLIP = "whether all its changes, strewn widely, lie on one line"


@dataclass(frozen=True)
class Laid:
    """A capture laid on the golden: what its time base is, what differs, and how likely it is to be chance.

    There is an open `question` if nothing differs should the answer to it be yes, and something does should it be no.
    """

    view: View
    base: TimeBase
    result: Comparison
    odds: Chance
    question: Question | None = None

    @property
    def first(self) -> float:
        """When the first difference was recorded, on the view's axis."""
        found = self.result.differences.time
        return float(self.base.to_capture(found[:1])[0]) if len(found) else np.inf


def lay(by_line_and_rate: Iterable[View]) -> Laid | None:
    """The capture in its views, laid on the golden; None where there are no edges to do it by."""
    best: Laid | None = None
    tried = 0
    for view, rates in _places(by_line_and_rate):
        found = search(view.edges, view.nearest, rates)
        tried += found.tried
        laid = _at_best(view, found, tried)
        if laid and (best is None or laid.odds.found < best.odds.found):
            best = laid
        if best and best.odds.found <= SMALL:
            break
    return best


def _places(by_line_and_rate: Iterable[View]) -> Iterator[tuple[View, tuple[float, float]]]:
    """Where to search."""
    for view in by_line_and_rate:
        if view.clock or not view.capture.timed:
            yield view, (1.0, 1.0)
        else:
            yield view, (1 - NEAR, 1 + NEAR)
            yield view, (1 / FAR, FAR)


def _at_best(view: View, found: Search, tried: int) -> Laid | None:
    """The capture laid at the best of the fits, or at the one that holds from its beginning."""
    fits = sorted(
        zip(found.fits.offset.tolist(), found.fits.rate.tolist(), strict=True),
        key=lambda f: _outside(view, *f),
    )
    bases: list[TimeBase] = []
    best: Placed | None = None
    early: Placed | None = None  # of those that begin in the set-up
    begun = Beginning.TOLD
    question: Question | None = None
    for offset, rate in fits:
        base = _base(view, offset, rate, found.around)
        begins = beginning(view, base)
        if begins is Beginning.INSIDE:
            bases.append(base)
            placed, strewn = _straightened(view, (base, _compared(view, base)), offset, rate)
            best = _better(view, best, placed)
            if best is placed:
                question = Question.NO_SLIP if strewn else None
            if not len(best[1].differences.time):
                break
        elif begins is not Beginning.ASTRAY:
            placed = base, _compared(view, base)
            if _better(view, early, placed) is placed:
                early, begun = placed, begins
    free = 1 if view.clock or not view.capture.timed else 2
    edges = view.edges.head(found.around, MOST)
    if early and best and chance(edges, view.nearest, best[0], tried, free, inputs=view.inputs).found > SMALL:
        best = None  # by accident only
    if early and best and begun is Beginning.UNKNOWN and not _share(early):
        question = Question.SET_UP if _share(best) else question
    elif early and (best is None or _share(early) < _share(best) * (1 if begun is Beginning.TOLD else FEWER)):
        best, bases, question = early, [early[0]], None
    if best is None:
        return None
    best = _without_doubt(view, *best)
    odds = chance(edges, view.nearest, best[0], tried, free, inputs=view.inputs)
    if odds.found > SMALL and view.clock:
        edges = view.edges.head(view.edges.first, MOST)
        known = anchored(edges, view.nearest, best[0], view.inputs, view.golden.onward)
        odds = replace(odds, found=min(odds.found, known))
    return _from_start(Laid(view, *best, odds, question), bases)


def _share(placed: Placed) -> float:
    """The share of bits that differ."""
    return len(placed[1].differences.time) / max(placed[1].bits, 1)


def _base(view: View, offset: float, rate: float, around: float) -> TimeBase:
    if view.clock or not view.capture.timed:
        return settle(view.edges, view.nearest, offset, view.clock.phase if view.clock else 0.0)
    return track(view.edges, view.nearest, offset, rate, around)


def _straightened(view: View, placed: Placed, offset: float, rate: float) -> tuple[Placed, bool]:
    """The same, or by one line through all edges, if nothing differs then and no slip would explain them better.

    Between sparse changes a short line may have been carried on astray. Where nothing differs by one line, and a slip
    explains the edges better, but perhaps by accident, neither is sure: that is told too.
    """
    if view.clock or not view.capture.timed or not len(placed[1].differences.time):
        return placed, False
    found = straight(view.edges, view.nearest, offset, rate)
    if found is None:
        return placed, False
    base, slips = found
    other = base, _compared(view, base)
    if slips <= SMALL or len(other[1].differences.time):
        return placed, False
    return (_better(view, placed, other), False) if slips == 1 else (placed, True)


def _better(view: View, one: Placed | None, other: Placed) -> Placed:
    """The one of more merit, the first where it is the same."""
    return other if one is None or _merit(view, *other) > _merit(view, *one) else one


def _without_doubt(view: View, base: TimeBase, result: Comparison) -> Placed:
    """Where bits cannot be told: a time base, no further off than this one may be, by which all bits agree."""
    if not result.doubtful:
        return base, result
    for part in (share * sign for share in NUDGES for sign in (-1, 1)):
        moved = replace(base, golden=base.golden + part * 3 * base.sigma)
        other = _compared(view, moved)
        if not other.doubtful and not len(other.differences.time):
            return moved, other
    return base, result


def _outside(view: View, offset: float, rate: float) -> float:
    """How many whole steps of the capture lie before the golden's start or beyond its end."""
    low, high = offset + rate * view.start, offset + rate * view.end
    return float(np.floor(max(0.0, view.golden.since - low) + max(0.0, high - view.golden.end)))


def _merit(view: View, base: TimeBase, result: Comparison) -> tuple[int, int]:
    """How many lines agree throughout, and how many bits agree: the more, the better the alignment.

    Where the capture has edges beyond the golden's ends, no line is known to agree throughout.
    """
    clean = 0 if _goes_beyond(view, base) else result.clean
    return clean, result.bits - len(result.differences.time)


def _goes_beyond(view: View, base: TimeBase) -> bool:
    """Whether the capture has edges that lie beyond the golden's ends, so that nothing can be said about them."""
    low, high = base.to_capture(np.array([-1.0, view.golden.end + 1.0]))
    early = 0 if view.golden.onward else view.edges.count(-np.inf, low)
    return early + view.edges.count(high, np.inf) >= BEYOND


def _compared(view: View, base: TimeBase) -> Comparison:
    return compare(view.lines, view.golden, base, (view.start, view.end), view.blur)


def _from_start(laid: Laid, bases: list[TimeBase]) -> Laid:
    """The same, or laid so that more of its beginning is explained."""
    best, slip = laid, (laid.base, 0)
    if len(laid.result.differences.time) < MORE:
        return best
    view = laid.view
    gate = min(
        GATE, 2 * min(base.reach for base in bases) + 0.05
    )  # so that a fit that leans over a slip explains less
    for base in bases:
        if _goes_beyond(view, base) and not _goes_beyond(view, laid.base):
            continue
        for shift in (0, *SLIPS):
            moved = replace(base, golden=base.golden + shift)
            # What holds for longer explains about as much until then; this is quicker to see than all the bits.
            if 2 * _explained(view, moved, best.first, gate) < _explained(view, laid.base, best.first, gate):
                continue
            other = replace(laid, base=moved, result=_compared(view, moved))
            if other.first > best.first + 0.5:
                gain = _explained(view, moved, other.first, gate)
                gain -= _explained(view, laid.base, other.first, gate)
                if gain >= MORE or (gain >= 0 and _wrong_lines(laid, other.first) > MORE):
                    best, slip = other, (base, shift)
    if not slip[1] or view.clock or not view.capture.timed:
        return best
    before, after = view.edges.between(view.start, best.first), view.edges.between(best.first, view.end)
    base = rejoined(before, after, view.nearest, *slip)
    return replace(best, base=base, result=_compared(view, base))


def _wrong_lines(laid: Laid, until: float) -> int:
    """How many lines differ somewhere up to then."""
    found = laid.result.differences
    return len(np.unique(found.line[laid.base.to_capture(found.time) < until]))


def _explained(view: View, base: TimeBase, until: float, gate: float) -> int:
    """How many edges up to then have a partner within the gate."""
    edges = view.edges.between(view.start, until)
    distance = view.nearest.distance(edges.kind, base.to_golden(edges.time))
    return int((np.abs(distance) < gate).sum())
