"""How likely a fit as good as the one found is by chance: a match by chance is not a match.

Theory of operation. The same golden is laid over the same capture at random shifts and at random rates between half
and double (but not within 5 % of the one found), and the share of edges that match is taken each time. Its mean and
variance say how many independent edges the capture is worth: as many as a binomial distribution of that mean would
need for that variance. (Where the golden is busy here and silent there, the shares lie in two heaps, and the upper
half or fifth of them says more than all.) The chance that a random placement matches as large a share as the fit that
was found is then bounded by Chernoff's inequality, and multiplied by the number of placements that the search has
looked at (Bonferroni's correction). It is taken over the capture as a whole, and over the half and the quarter that
fit best, as a design that slips on the way fits in one part only; the number of parts counts too.

Where the step line and an input's only change were recorded (the restart's, say), neither rate nor shift was sought,
and nothing has to be multiplied: the share of other shifts at which the outputs' edges fit as well is the chance.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from ..capture.record import Floats
from .align import GATE
from .edges import Edges, Nearest
from .timebase import TimeBase

PLACEMENTS = 400
MOST_EDGES = 1024
SHIFTS = 2000  # other shifts that are looked at where the right one is known
#: Shares of the placements, the best ones, and what the variance of a normal distribution shrinks to in such a part.
TOPS = ((1.0, 1.0), (0.5, 0.363), (0.2, 0.219))
SMALL = 1e-3  # a chance that is smaller does not worry us


@dataclass(frozen=True)
class Chance:
    """`found`: the chance of a fit as good as this one; `perfect`: that of a fit in which all edges match."""

    found: float
    perfect: float


def chance(
    edges: Edges,
    nearest: Nearest,
    base: TimeBase,
    tried: int,
    free: int = 2,
    seed: int = 0,
    inputs: Collection[int] = (),
) -> Chance:
    """Both chances for the capture's edges under the time base; `tried` placements were looked at.

    `free` is how many numbers were fitted: 2, or 1 where the rate is known. A hand moves the lines `inputs`: they help
    to find a fit, but need not fit.
    """
    rng = np.random.default_rng(seed)
    good = np.abs(nearest.distance(edges.kind, base.to_golden(edges.time))) < GATE
    lines = np.unique(edges.line)
    fitting = [line for line in lines if good[edges.line == line].mean() > 0.5]
    result = _parts(edges, nearest, base, tried, free, rng)
    inside = base.to_golden(edges.time) > nearest.start - GATE
    if not inside.all():
        # What lies before the golden's start is no evidence.
        rest = _parts(edges.part(inside), nearest, base, tried, free, rng)
        result = Chance(max(result.found, rest.found), result.perfect)
    if 0 < len(fitting) < len(lines):
        # Some lines do not fit at all: the others may, and there are that many ways to choose them.
        some = np.isin(edges.line, fitting)
        theirs = nearest.only(fitting)
        other = _parts(edges.part(some), theirs, base, tried * 2 ** len(lines), free, rng)
        result = Chance(min(result.found, other.found), min(result.perfect, other.perfect))
    answers = ~np.isin(edges.line, list(inputs))
    if not answers.all():
        rest = _parts(edges.part(answers), nearest, base, tried, free, rng)
        result = Chance(result.found, max(result.perfect, rest.perfect))
    return result


def anchored(edges: Edges, nearest: Nearest, base: TimeBase, inputs: set[int], onward: float) -> float:
    """The chance where the rate is known and a change of one of the `inputs` says which shift is the right one.

    1 where there is no such change: one that golden and capture both have once, and that fits, or lies in both
    somewhere between the golden's start and the rise that is `onward` of it.
    """
    inside = base.to_golden(edges.time) > nearest.start
    edges = edges.part(inside)
    time = base.to_golden(edges.time)
    distance = nearest.distance(edges.kind, time)
    good = (np.abs(distance) < GATE) | (np.maximum(time, time + distance) < onward)
    kinds, count = np.unique(edges.kind, return_counts=True)
    once = [kind for kind, n in zip(kinds.tolist(), count.tolist(), strict=True) if n == 1]
    if not any(
        nearest.only_once(kind) and good[edges.kind == kind].all() for kind in once if kind // 2 in inputs
    ):
        return 1.0
    outputs = set(range(len(nearest.lines))) - inputs
    telling = edges.part(np.isin(edges.line, list(outputs)))
    if not len(telling.time):
        return 1.0
    theirs, time = nearest.only(list(outputs)), base.to_golden(telling.time)
    reach = int((time[-1] - time[0]) / 2)  # so that half of it still lies on the golden
    shifts = np.r_[-reach:0, 1 : reach + 1].astype(np.float64)
    shifts = shifts[:: 1 + len(shifts) // SHIFTS]
    found = float(_shares(telling, theirs, time[None, :])[0])
    as_good = sum(
        int((_shares(telling, theirs, time + part[:, None]) >= found).sum())
        for part in np.array_split(shifts, 1 + len(shifts) // 64)
    )
    return (1 + as_good) / (1 + len(shifts))


def _parts(
    edges: Edges, nearest: Nearest, base: TimeBase, tried: int, free: int, rng: np.random.Generator
) -> Chance:
    """The least of the chances of the whole, and of the half and the quarter that fit best."""
    time = base.to_golden(edges.time)
    good = np.abs(nearest.distance(edges.kind, time)) < GATE
    count = len(good)
    matches = np.cumsum(np.r_[0, good])
    found = perfect = 1.0
    for size in {min(count, MOST_EDGES), min(count // 2, MOST_EDGES), min(count // 4, MOST_EDGES // 4)}:
        if size < 2:
            continue
        begin = int(np.argmax(matches[size:] - matches[:-size]))
        part = slice(begin, begin + size)
        trials = max(tried, 1) * 3 * (1 + count // size)
        this = _stretch(edges.part(part), nearest, time[part], trials, free, rng)
        found, perfect = min(found, this.found), min(perfect, this.perfect)
    return Chance(found, perfect)


def _stretch(
    edges: Edges, nearest: Nearest, time: Floats, tried: int, free: int, rng: np.random.Generator
) -> Chance:
    shares = np.sort(_shares(edges, nearest, _placements(time, nearest.end, rng)))
    found = float(_shares(edges, nearest, time[None, :])[0])
    return Chance(*(_tail(shares, share, len(time), tried, free) for share in (found, 1.0)))


def _tail(shares: Floats, share: float, edges: int, tried: int, free: int) -> float:
    """The chance of such a share, from those of random placements in rising order."""
    least = 1.0
    for part, narrowed in TOPS:
        top = shares[len(shares) - int(part * len(shares)) :]
        mean = min(max(float(top.mean()), 0.25 / (PLACEMENTS * edges)), 0.999)
        variance = max(float(top.var()) / narrowed, mean * (1 - mean) / edges)
        worth = min(max(mean * (1 - mean) / variance, 1.0), float(edges - free))
        bound = len(TOPS) * _bound(share, mean, worth)
        least = min(least, bound)
    return min(1.0, tried * max(least, float((shares >= share).mean())))


def _placements(time: Floats, end: float, rng: np.random.Generator) -> Floats:
    """Golden times of the edges at random shifts and rates: shape (PLACEMENTS, edges)."""
    rate = np.exp(rng.uniform(math.log(1.05), math.log(2), PLACEMENTS) * rng.choice([-1, 1], PLACEMENTS))
    middle = (time[0] + time[-1]) / 2
    reach = rate * (time[-1] - time[0]) / 2
    low, high = np.minimum(reach, end / 2), np.maximum(end - reach, end / 2)
    centre = rng.uniform(low, np.maximum(high, low + 1.0))
    placed: Floats = (time - middle) * rate[:, None] + centre[:, None]
    return placed


def _shares(edges: Edges, nearest: Nearest, time: Floats) -> Floats:
    """The share of edges of both sides that have a partner, where the two overlap: (placements, edges) to
    (placements,)."""
    inside = (time > nearest.start - GATE) & (time < nearest.end + GATE)
    matched = (inside & (np.abs(nearest.distance(edges.kind, time)) < GATE)).sum(axis=1)
    golden = nearest.count(time[:, 0] - GATE, time[:, -1] + GATE)
    shares: Floats = np.minimum(2 * matched / np.maximum(inside.sum(axis=1) + golden, 1), 1.0)
    return shares


def _bound(share: float, mean: float, worth: float) -> float:
    """Chernoff's bound for at least this share of `worth` trials that succeed with probability `mean`."""
    if share <= mean:
        return 1.0
    share = min(share, 1 - 1e-9)
    divergence = share * math.log(share / mean) + (1 - share) * math.log((1 - share) / (1 - mean))
    return math.exp(-worth * divergence)
