"""Finds where in a golden a capture begins, and how fast it runs: the starting offset.

Theory of operation. Golden time and capture time (both in nominal steps) are related by `golden = offset + rate *
capture`. Candidates for the pair come from edges: two edges of one line in the capture, with n edges of that line
between them, would be any two such edges of the golden with about as many between them (spikes hide some), and each
such pair gives an offset and a rate. Where the rate is known (the step line was recorded) one edge is enough. All
candidates are scored on a
first window of the capture with a table of distances to the nearest golden edge; the best are fitted by least squares
to the edges they match, on windows four times as long each time, until the whole capture (or enough of it) is in the
window. A score counts matched edges, less half of those on either side that have no partner, so that a longer overlap
wins over a shorter one that fits as well. An edge before the golden's start, when a hand was setting up, costs as much
as an edge on either side without a partner.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..capture.record import Floats, Ints, RecordedLine
from .edges import Edges, Nearest, Stream

GATE = 0.5  # an edge belongs to the golden edge of its line and direction that is nearer than half a step
WIDE_GATES = (
    1.0,
    0.7,
    GATE,
    GATE,
)  # at first, as candidates that come from two edges are off by their jitter
GATES = (0.6, GATE, GATE)  # later, lest edges behind a slip of the design pull the fit towards them
CLEAR = 0.9  # share of the best possible score at which there is no need to look further
FINALISTS = 12
MISCOUNTS = (0, -1, 1, -2, 2, -3, 3, -4, 4)  # edges that spikes may have hidden or made between two others
FEW = 1 << 14  # edges of a golden line for which miscounts are tried
SOME = 20  # edges that are worth a look by themselves
WINDOW = 192  # edges of the first window
MOST = 8192  # edges of the last
KEEP = 2048  # candidates that are fitted
RESOLUTION = 2  # cells a step in which candidates are scored
WEIGHTS = (8, 6, 2)  # of an edge, by its distance from a golden one in cells
CANDIDATES = 1 << 18  # so many are enough to score
STAGES = (
    (6, 1 << 17),
    (24, 1 << 14),
    (1 << 20, 1 << 14),
)  # on how many edges they are scored, and how many stay
ASTRAY = 2.0  # how far beyond the rates that are searched a fit may end
EARLY, LATE = 1.0, 1.5  # what an edge of the capture before the golden's start or beyond its end costs
CELLS = 1 << 15  # numbers handled at a time: they stay in the cache
SORTED_CELLS = 1 << 21  # the same for a golden without a table, whose questions are sorted


#: For each kind of edge that was asked for, a weight for each golden time.
Tables = dict[int, NDArray[np.uint8]]


@dataclass(frozen=True)
class Fits:
    """Several ways to lay a capture on the golden, element by element: `golden = offset + rate * capture`."""

    offset: Floats
    rate: Floats
    score: Floats

    def best(self, most: int, margin: float = np.inf) -> Fits:
        """Those with the highest scores (the earliest first among equals), no further than `margin` below the best."""
        order = np.lexsort((self.offset, -self.score))[:most]
        return self.rows(order[self.score[order] >= self.score[order[:1]] - margin])

    def rows(self, rows: Ints) -> Fits:
        return Fits(self.offset[rows], self.rate[rows], self.score[rows])

    def parted(self, time: float, start: float) -> tuple[Fits, Fits]:
        """Those that lay this time of the capture behind `start`, and those that lay it before."""
        early = self.offset + self.rate * time <= start
        return self.rows(np.flatnonzero(~early)), self.rows(np.flatnonzero(early))

    def joined(self, other: Fits) -> Fits:
        pairs = ((self.offset, other.offset), (self.rate, other.rate), (self.score, other.score))
        return Fits(*(np.concatenate(pair) for pair in pairs))


NOTHING = Fits(np.zeros(0), np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Search:
    """The best fits, which differ by a step at least, and how many candidates were looked at.

    Those by which the whole capture lies behind the golden's start come first.

    The fits are good from the capture time `around` on, for MOST edges at least.
    """

    fits: Fits
    tried: int
    around: float


def search(capture: Stream, nearest: Nearest, rates: tuple[float, float]) -> Search:
    """Find the best offset and rate, the rate within `rates` (which are equal where it is known)."""
    tried, around = 0, capture.first
    best = NOTHING
    tables: Tables = {}
    for edges, window in _windows(capture):
        first = _candidates(window, nearest, rates, tables)
        tried += len(first.offset)
        begin = capture.first, nearest.start - GATE
        found = _narrow(edges, window, nearest, first, rates, begin) if len(first.offset) else NOTHING
        if edges.time[0] == around or found.score.max(initial=0.0) > best.score.max(initial=0.0):
            # Fits from elsewhere in a long capture do not compare: its clock may drift.
            best = best.joined(found) if edges.time[0] == around else found
            around = float(edges.time[0])
        if len(best.score) and best.score.max() > CLEAR * len(edges.time):
            break
    inside, early = best.parted(capture.first, nearest.start - GATE)
    return Search(_apart(inside).joined(_apart(early)), tried, around)


def _windows(capture: Stream) -> Iterator[tuple[Edges, Edges]]:
    """Places to begin, each within the edges on which a fit is tried in the end.

    A short capture is taken as a whole, and then either half; a long one at its start, and then further on.
    """
    if capture.total <= 2 * WINDOW:
        edges = capture.head(capture.first, capture.total)
        if capture.total:
            yield edges, edges
        if capture.total >= SOME:
            yield edges, edges.part(slice(None, capture.total // 2))
            yield edges, edges.part(slice(capture.total // 2, None))
        return
    for share in (0.0, 0.5, 0.25, 0.75):
        if capture.total <= MOST:
            edges = capture.head(capture.first, MOST)
            start = int(share * (capture.total - WINDOW))
        else:
            edges = capture.head(capture.first + share * (capture.last - capture.first), MOST)
            start = 0
        yield edges, edges.part(slice(start, start + WINDOW))


def _apart(fits: Fits) -> Fits:
    """The best few that lie a step or more apart."""
    order = np.lexsort((fits.offset, -fits.score))
    chosen: list[int] = []
    for at in order.tolist():
        if all(abs(fits.offset[at] - fits.offset[other]) > 0.7 for other in chosen):
            chosen.append(at)
        if len(chosen) == FINALISTS:
            break
    return fits.rows(np.array(chosen, np.int64))


def _candidates(window: Edges, nearest: Nearest, rates: tuple[float, float], tables: Tables) -> Fits:
    """Offsets and rates that bring some edges together, scored on the window; the rarest lines are the most telling."""
    offsets, slopes = [np.zeros(0)], [np.zeros(0)]
    lines = [line for line in np.unique(window.line).tolist() if len(nearest.lines[line].times)]
    known = rates[0] if rates[0] == rates[1] else None
    found = 0
    for line in sorted(lines, key=lambda line: len(nearest.lines[line].times)):
        for offset, rate in _pairs(window.part(window.line == line), nearest.lines[line], known):
            fits = (rate >= rates[0]) & (rate <= rates[1])
            offsets.append(offset[fits])
            slopes.append(rate[fits])
            found += int(fits.sum())
            if found > CANDIDATES:
                break
        if found > CANDIDATES:
            break
    return _scored(window, nearest, tables, np.concatenate(offsets), np.concatenate(slopes))


def _pairs(own: Edges, theirs: RecordedLine, known: float | None) -> Iterator[tuple[Floats, Floats]]:
    """Offset and rate for each way to lay an edge (or two) of the capture on the golden's edges of that line."""
    count = len(own.time)
    if known is not None:
        for at in sorted({0, count // 2, count - 1}):
            same = theirs.times[theirs.levels == own.level[at]]
            yield same - known * own.time[at], np.full(len(same), known)
        return
    ends = {(0, count - 1), (0, count // 2), (count // 2, count - 1)}
    for first, last in sorted(pair for pair in ends if pair[1] > pair[0]):
        for more in MISCOUNTS if len(theirs.times) < FEW else (0,):
            apart = max(last - first + more, 1)
            begin = np.flatnonzero(theirs.levels[: max(0, len(theirs.times) - apart)] == own.level[first])
            begin = begin[theirs.levels[begin + apart] == own.level[last]]
            rate = (theirs.times[begin + apart] - theirs.times[begin]) / (own.time[last] - own.time[first])
            yield theirs.times[begin] - rate * own.time[first], rate


def _scored(window: Edges, nearest: Nearest, tables: Tables, offset: Floats, rate: Floats) -> Fits:
    """Score by table: all candidates on a few edges spread over the window, the better ones on more."""
    count = len(window.time)
    score = np.zeros(len(offset))
    done = np.zeros(0, np.int64)
    for edges, kept in STAGES:
        rows = np.unique(np.linspace(0, count - 1, min(edges, count)).astype(np.int64))
        rows = np.setdiff1d(rows, done)
        done = np.append(done, rows)
        score += _by_table(window.part(rows), nearest, tables, offset, rate)
        if len(score) > kept:
            best = np.argpartition(-score, kept)[:kept]
            offset, rate, score = offset[best], rate[best], score[best]
    begin, end = offset + rate * window.time[0], offset + rate * window.time[-1]
    golden = nearest.count(begin - GATE, end + GATE)
    return Fits(offset, rate, 2 * score - 0.5 * (golden + count)).best(KEEP)


def _by_table(some: Edges, nearest: Nearest, tables: Tables, offset: Floats, rate: Floats) -> Floats:
    """Sum of weights, 1 for an edge that fits well."""
    total = np.zeros(len(offset), np.int64)
    for kind, time in zip(some.kind.tolist(), some.time.tolist(), strict=True):
        if kind not in tables:
            tables[kind] = nearest.table(kind, RESOLUTION, WEIGHTS)
        table = tables[kind]
        spot = ((offset + rate * time) * RESOLUTION).astype(np.int64) + len(WEIGHTS)
        total += table[np.clip(spot, 0, len(table) - 1)]
    return total / WEIGHTS[0]


def _narrow(
    capture: Edges,
    window: Edges,
    nearest: Nearest,
    fits: Fits,
    rates: tuple[float, float],
    begin: tuple[float, float],
) -> Fits:
    """Fit the candidates on ever longer windows and keep the ones that stay good.

    Those that lay the capture's first time before the golden's start (both in `begin`) do not compete with the others.
    """
    known = rates[0] == rates[1]
    first = int(np.searchsorted(capture.time, window.time[0]))
    count = len(window.time)
    gates: tuple[float, ...] = WIDE_GATES
    while True:
        part = capture.part(slice(first, first + count))
        fits = fitted(part, nearest, fits, gates, known)
        # A line that has laid many edges on one and the same lies flat, and is no fit.
        near = (fits.rate > rates[0] / ASTRAY) & (fits.rate < rates[1] * ASTRAY)
        margin = max(3.0, 0.15 * count)
        inside, early = fits.rows(np.flatnonzero(near)).parted(*begin)
        fits = inside.best(KEEP, margin).joined(early.best(KEEP, margin))
        if not len(fits.rate):
            return fits
        if count >= len(capture.time):
            return fits
        longer = min(4 * count, len(capture.time))
        first = max(0, min(first, len(capture.time) - longer))
        inside, early = fits.parted(*begin)
        most = max(16, KEEP * WINDOW // longer)
        fits = inside.best(most).joined(early.best(most))
        count, gates = longer, GATES


def fitted(part: Edges, nearest: Nearest, fits: Fits, gates: tuple[float, ...], known: bool = False) -> Fits:
    """Least squares on the matched edges, for all fits at once, with one gate after the other; then the score.

    The rate keeps its value where it is `known`.
    """
    out = []
    step = max(1, (CELLS if nearest.tabled else SORTED_CELLS) // max(len(part.time), 1))
    middle = float(part.time.mean())
    time = part.time - middle
    for begin in range(0, len(fits.offset), step):
        rate = fits.rate[begin : begin + step].copy()
        offset = fits.offset[begin : begin + step] + rate * middle
        for gate in gates:
            distance = nearest.distance(part.kind, offset[:, None] + rate[:, None] * time)
            match = np.abs(distance) < gate
            distance = np.where(match, distance, 0.0)
            count = np.maximum(match.sum(axis=1), 1)
            mean_t = (match * time).sum(axis=1) / count
            mean_d = distance.sum(axis=1) / count
            spread = (match * time**2).sum(axis=1) - count * mean_t**2
            tilt = (distance * time).sum(axis=1) - count * mean_t * mean_d
            slope = np.where((count >= 3) & (not known), tilt / np.maximum(spread, 1e-9), 0.0)
            rate += slope
            offset += mean_d - slope * mean_t
        inside = offset[:, None] + rate[:, None] * time
        distance = nearest.distance(part.kind, inside)
        matched = (np.abs(distance) < GATE).sum(axis=1)
        early = (inside <= nearest.start - GATE).sum(axis=1)
        late = (inside >= nearest.end + GATE).sum(axis=1)
        golden = nearest.count(inside[:, 0] - GATE, inside[:, -1] + GATE)
        score = 2.0 * matched - 0.5 * (len(part.time) - early - late + golden) - EARLY * early - LATE * late
        out.append(Fits(offset - rate * middle, rate, score))
    return Fits(*(np.concatenate([getattr(f, name) for f in out]) for name in ("offset", "rate", "score")))
