"""Finds where in a golden a capture begins, and how fast it runs: the starting offset.

Theory of operation. Golden time and capture time (both in nominal steps) are related by `golden = offset + rate *
capture`. Candidates for the pair come from edges: two edges of one line in the capture, with n edges of that line
between them, would be any two such edges of the golden with as many between them, and each such pair gives an offset
and a rate. Where the rate is known (the step line was recorded) one edge is enough. All candidates are scored on a
first window of the capture with a table of distances to the nearest golden edge; the best are fitted by least squares
to the edges they match, on windows four times as long each time, until the whole capture (or enough of it) is in the
window. A score counts matched edges, less half of those on either side that have no partner, so that a longer overlap
wins over a shorter one that fits as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .record import LINES, Floats
from .reference import Edges, Ints

GATE = 0.5  # an edge belongs to the golden edge of its line and direction that is nearer than half a step
WIDE_GATES = (
    1.0,
    0.7,
    GATE,
    GATE,
)  # at first, as candidates that come from two edges are off by their jitter
GATES = (0.6, GATE, GATE)  # later, lest edges behind a slip of the design pull the fit towards them
CLEAR = 0.9  # share of the best possible score at which there is no need to look further
FINALISTS = 6
SOME = 20  # edges that are worth a look by themselves
WINDOW = 192  # edges of the first window
MOST = 8192  # edges of the last
KEEP = 2048  # candidates that are fitted
WEIGHTS = (8, 8, 7, 4, 2, 1)  # by distance in quarter steps: full within what jitter alone explains
RESOLUTION = 4
OUTSIDE = 1.5  # what an edge of the capture beyond the golden's ends costs
CELLS = 1 << 21  # numbers handled at a time


class Nearest:
    """Finds golden edges by line, direction and time."""

    def __init__(self, edges: Edges, end: float) -> None:
        self.edges, self.end = edges, end
        self.table: NDArray[np.uint8] | None = None
        self.span = end + 8.0
        keys = edges.kind * self.span + edges.time
        self.order = np.argsort(keys, kind="stable")
        self.keys = keys[self.order]

    def only(self, lines: list[int]) -> Nearest:
        """The same for some of the lines."""
        return Nearest(self.edges.part(np.isin(self.edges.line, lines)), self.end)

    def distance(self, kind: Ints, time: Floats) -> Floats:
        """Golden edge minus `time`, for the nearest edge of this kind; at least 2 where there is none near."""
        if not len(self.keys):
            return np.full(np.shape(time), 9.0)
        key = kind * self.span + np.clip(time, -2.0, self.end + 2.0)
        after = np.searchsorted(self.keys, key)
        ahead = self.keys[np.minimum(after, len(self.keys) - 1)] - key
        behind = self.keys[np.maximum(after - 1, 0)] - key
        return np.where(np.abs(ahead) < np.abs(behind), ahead, behind)

    def phases(self, kind: Ints) -> Floats:
        """Where in a step the golden's edges of this kind lie, between 0 and 1; nan where they do not keep to one
        place."""
        count = 2 * len(LINES)
        turns = np.exp(2j * np.pi * self.edges.time)
        sums = np.bincount(self.edges.kind, turns.real, count) + 1j * np.bincount(
            self.edges.kind, turns.imag, count
        )
        strength = np.abs(sums) / np.maximum(np.bincount(self.edges.kind, minlength=count), 1)
        phase = np.where(strength > 0.8, np.angle(sums) / (2 * np.pi) % 1.0, np.nan)
        return phase[kind]

    def count(self, start: Floats, stop: Floats) -> Ints:
        """How many golden edges lie between."""
        times = self.edges.time
        between: Ints = np.searchsorted(times, stop) - np.searchsorted(times, start)
        return np.maximum(between, 0)


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

    def joined(self, other: Fits) -> Fits:
        pairs = ((self.offset, other.offset), (self.rate, other.rate), (self.score, other.score))
        return Fits(*(np.concatenate(pair) for pair in pairs))


NOTHING = Fits(np.zeros(0), np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Search:
    """The best fits, which differ by a step at least, and how many candidates were looked at."""

    fits: Fits
    tried: int


def search(capture: Edges, nearest: Nearest, rates: tuple[float, float]) -> Search:
    """Find the best offset and rate, the rate within `rates` (which are equal where it is known)."""
    tried = 0
    best = NOTHING
    for window in _windows(capture):
        first = _candidates(window, nearest, rates)
        tried += len(first.offset)
        if len(first.offset):
            best = best.joined(_narrow(capture, window, nearest, first, rates))
        if len(best.score) and best.score.max() > CLEAR * min(len(capture.time), MOST):
            break
    return Search(_apart(best), tried)


def _windows(capture: Edges) -> Iterator[Edges]:
    """Places to begin: a short capture as a whole, then either half; a long one at its start, then further on."""
    count = len(capture.time)
    size = min(count, WINDOW) if count > 2 * WINDOW else count
    shares = [0.0, 0.5, 0.25, 0.75] if count > 2 * WINDOW else [0.0]
    for share in shares if count else []:
        start = int(share * (count - size))
        yield capture.part(slice(start, start + size))
    if SOME <= count <= 2 * WINDOW:
        yield capture.part(slice(None, count // 2))
        yield capture.part(slice(count // 2, None))


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


def _candidates(window: Edges, nearest: Nearest, rates: tuple[float, float]) -> Fits:
    """Offsets and rates that bring some edges together, scored on the window."""
    offsets, slopes = [np.zeros(0)], [np.zeros(0)]
    golden = nearest.edges
    lines = [line for line in np.unique(window.line) if (golden.line == line).any()]
    lines.sort(key=lambda line: int((golden.line == line).sum()))
    budget = 1 << 20
    for line in lines:
        own = window.part(window.line == line)
        theirs = golden.part(golden.line == line)
        for offset, rate in _pairs(own, theirs, rates[0] if rates[0] == rates[1] else None):
            fits = (rate >= rates[0]) & (rate <= rates[1])
            offsets.append(offset[fits])
            slopes.append(rate[fits])
            budget -= int(fits.sum())
        if budget < 0:
            break
    offset, rate = np.concatenate(offsets), np.concatenate(slopes)
    return _scored(window, nearest, offset, rate)


def _pairs(own: Edges, theirs: Edges, known: float | None) -> Iterator[tuple[Floats, Floats]]:
    """Offset and rate for each way to lay an edge (or two) of the capture on the golden's edges of that line."""
    count = len(own.time)
    if known is not None:
        for at in sorted({0, count // 2, count - 1}):
            same = theirs.time[theirs.level == own.level[at]]
            yield same - known * own.time[at], np.full(len(same), known)
        return
    ends = {(0, count - 1), (0, count // 2), (count // 2, count - 1)}
    for first, last in sorted(pair for pair in ends if pair[1] > pair[0]):
        apart = last - first
        begin = np.flatnonzero(theirs.level[: max(0, len(theirs.time) - apart)] == own.level[first])
        rate = (theirs.time[begin + apart] - theirs.time[begin]) / (own.time[last] - own.time[first])
        yield theirs.time[begin] - rate * own.time[first], rate


def _scored(window: Edges, nearest: Nearest, offset: Floats, rate: Floats) -> Fits:
    """Score by table, all candidates on a few edges and the better ones on all."""
    if nearest.table is None:
        nearest.table = _table(nearest, 2 * len(LINES))
    table = nearest.table
    order = np.random.default_rng(0).permutation(
        len(window.time)
    )  # any spread-out order does; a fixed one repeats
    score = np.zeros(len(offset))
    few = order[:16]
    for part in (few, order[16:]):
        score += _by_table(table, window, part, offset, rate)
        kept = np.argsort(-score, kind="stable")[: 8 * KEEP]
        offset, rate, score = offset[kept], rate[kept], score[kept]
    begin, end = offset + rate * window.time[0], offset + rate * window.time[-1]
    golden = nearest.count(begin - GATE, end + GATE)
    return Fits(offset, rate, 2 * score - 0.5 * (golden + len(window.time))).best(KEEP)


def _table(nearest: Nearest, kinds: int) -> NDArray[np.uint8]:
    """For each kind of edge and each quarter step of golden time, how well an edge there would fit."""
    size = int(nearest.end * RESOLUTION) + 1
    pad = len(WEIGHTS)
    table = np.zeros((kinds, size + 2 * pad), np.uint8)
    kind = nearest.edges.kind
    spots = np.clip((nearest.edges.time * RESOLUTION).astype(np.int64), 0, size - 1) + pad
    for weight, distance in sorted((w, d) for d, w in enumerate(WEIGHTS)):
        for side in (-distance, distance):
            for number in range(kinds):
                table[number][spots[kind == number] + side] = weight
    return table


def _by_table(table: NDArray[np.uint8], window: Edges, rows: Ints, offset: Floats, rate: Floats) -> Floats:
    """Sum of weights, 1 for an edge that fits well."""
    total = np.zeros(len(offset), np.int64)
    size = table.shape[1]
    kinds, times = window.kind, window.time
    for row in rows.tolist():
        spot = ((offset + rate * times[row]) * RESOLUTION).astype(np.int64) + len(WEIGHTS)
        total += table[kinds[row]][np.clip(spot, 0, size - 1)]
    return total / WEIGHTS[0]


def _narrow(capture: Edges, window: Edges, nearest: Nearest, fits: Fits, rates: tuple[float, float]) -> Fits:
    """Fit the candidates on ever longer windows and keep the ones that stay good."""
    known = rates[0] == rates[1]
    first = int(np.searchsorted(capture.time, window.time[0]))
    count = len(window.time)
    gates: tuple[float, ...] = WIDE_GATES
    while True:
        part = capture.part(slice(first, first + count))
        fits = fitted(part, nearest, fits, gates, known).best(KEEP, max(3.0, 0.15 * count))
        if count >= min(len(capture.time), MOST):
            return fits
        longer = min(4 * count, len(capture.time))
        first = max(0, min(first, len(capture.time) - longer))
        fits = fits.best(max(16, KEEP * WINDOW // longer))
        count, gates = longer, GATES


def fitted(part: Edges, nearest: Nearest, fits: Fits, gates: tuple[float, ...], known: bool = False) -> Fits:
    """Least squares on the matched edges, for all fits at once, with one gate after the other; then the score.

    The rate keeps its value where it is `known`.
    """
    out = []
    step = max(1, CELLS // max(len(part.time), 1))
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
        own = ((inside > -GATE) & (inside < nearest.end + GATE)).sum(axis=1)
        golden = nearest.count(inside[:, 0] - GATE, inside[:, -1] + GATE)
        score = 2.0 * matched - 0.5 * (own + golden) - OUTSIDE * (len(part.time) - own)
        out.append(Fits(offset - rate * middle, rate, score))
    return Fits(*(np.concatenate([getattr(f, name) for f in out]) for name in ("offset", "rate", "score")))
