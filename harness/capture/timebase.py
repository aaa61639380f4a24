"""The time base of a capture: which golden time belongs to which capture time, and how sure that is.

Theory of operation. A search has laid the capture on the golden as a whole. The stretch of the capture that fits best
by itself is taken as a seed (a design that has lost a step fits well before and after, and badly over all). From
there the time base is carried on in both directions, block by block: the edges of a block are predicted from a
straight line through those before, matched to the nearest golden edge of the same line and direction, and join the
line if most of the block matches. Blocks are so short that an instrument's clock that drifts is straight within them.
At the end the matched edges are averaged in groups: the means are the points of the time base, and the spread of the
edges around it, over the root of their number, is how well it is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .align import GATE, WIDE_GATES, Fits, Nearest, fitted
from .record import Floats
from .reference import Edges

SEED_EDGES = 24  # edges that a straight line needs at least, where there are so many
SEED_MOST = 512  # and of which the first is made at most
MEMORY = 1024  # edges that it remembers
MEMORY_STEPS = 2000.0  # and for how long: a drift of 200 ppm bends this by a twentieth of a step at most
BLOCK_STEPS = 500.0  # longest block
BLOCK_EDGES = 256  # edges of a block that are looked at
GROUP_STEPS = 1000.0  # steps in which edges are averaged


@dataclass(frozen=True)
class TimeBase:
    """Golden times `golden` belong to capture times `capture` (both rising), straight in between and beyond.

    `sigma` is the standard deviation of the time base at these points, in steps; `reach` is what 99 % of the edges keep
    within, `rate` golden time per capture time over all, `rate_sigma` its standard deviation.
    """

    capture: Floats
    golden: Floats
    sigma: Floats
    reach: float
    rate: float
    rate_sigma: float

    def to_golden(self, times: Floats) -> Floats:
        return through(times, self.capture, self.golden)

    def to_capture(self, times: Floats) -> Floats:
        return through(times, self.golden, self.capture)

    def doubt(self, times: Floats) -> Floats:
        """How far off the time base may be at these capture times: three standard deviations, in steps."""
        return 3 * np.interp(times, self.capture, self.sigma)


def unit_base(shift: float = 0.0, sigma: float = 0.3, reach: float = GATE) -> TimeBase:
    """A time base of rate 1."""
    points = np.array([0.0, 1.0])
    return TimeBase(points, points + shift, np.full(2, sigma), reach, 1.0, 0.0)


def through(times: Floats, x: Floats, y: Floats) -> Floats:
    """Straight lines through the points, the first and last of them prolonged."""
    out = np.interp(times, x, y)
    first, last = (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2])
    out = np.where(times < x[0], y[0] + (times - x[0]) * first, out)
    return np.where(times > x[-1], y[-1] + (times - x[-1]) * last, out)


def settle(edges: Edges, nearest: Nearest, offset: float, sigma: float) -> TimeBase:
    """The time base of a capture whose times already count steps, but for `sigma`: only the offset is left to find.

    Its fraction comes from where in a step the edges of each kind lie, on average, in golden and capture; that is the
    same before and after a slip of the design. The whole steps come from the search.
    """
    theirs = nearest.phases(edges.kind)
    turns = np.exp(2j * np.pi * (theirs - edges.time)[~np.isnan(theirs)])
    if len(turns) >= 2:
        fraction = float(np.angle(turns.sum())) / (2 * np.pi)
        offset = fraction + round(offset - fraction)
    rest = np.angle(turns * np.exp(-2j * np.pi * offset)) / (2 * np.pi)
    if len(rest) < 3:
        return unit_base(offset)
    spread = max(float(rest.std()), 0.003)
    uncertain = float(np.hypot(spread / len(rest) ** 0.5, sigma))
    return unit_base(offset, uncertain, float(np.quantile(np.abs(rest), 0.99)))


def rejoined(before: Edges, after: Edges, nearest: Nearest, base: TimeBase, shift: int) -> TimeBase:
    """The time base before a slip by `shift` steps, from the edges on both sides of it; `base` is the one after it."""
    parts = []
    for part, steps in ((before, shift), (after, 0)):
        predicted = base.to_golden(part.time) + steps
        rest = nearest.distance(part.kind, predicted)
        near = np.abs(rest) < GATE
        parts.append((part.time[near], (predicted + rest)[near] + shift - steps))
    capture, golden = (np.concatenate(p) for p in zip(*parts, strict=True))
    return _averaged(capture, golden, base.rate)


def track(edges: Edges, nearest: Nearest, offset: float, rate: float) -> TimeBase:
    """The time base of a capture that lies roughly at `golden = offset + rate * capture`."""
    first, last, offset, rate = _seed(edges, nearest, offset, rate)
    near = _matched(edges.part(slice(first, last)), nearest, offset, rate)
    ahead = _carry(edges, nearest, near, last, 1)
    back = _carry(edges, nearest, near, first, -1)
    capture, golden = (np.concatenate([b, n, a]) for b, n, a in zip(back, near, ahead, strict=True))
    return _averaged(capture, golden, rate)


def _seed(edges: Edges, nearest: Nearest, offset: float, rate: float) -> tuple[int, int, float, float]:
    """First and last edge of the stretch that fits best by itself, and its fit."""
    count = len(edges.time)
    size = min(max(count // 2, min(count, 10)), SEED_MOST)
    starts = sorted({0, (count - size) // 3, (count - size) // 2, 2 * (count - size) // 3, count - size})
    best: tuple[float, int, float, float] | None = None
    for start in starts:
        part = edges.part(slice(start, start + size))
        fit = fitted(part, nearest, Fits(np.array([offset]), np.array([rate]), np.zeros(1)), WIDE_GATES)
        rest = nearest.distance(part.kind, fit.offset[0] + fit.rate[0] * part.time)
        near = np.abs(rest) < GATE
        # Few unmatched edges first, a small spread second; an early stretch wins a draw.
        cost = float((~near).mean()) + float(np.abs(rest[near]).mean() if near.any() else 1.0)
        if best is None or cost < 0.9 * best[0]:
            best = cost, start, float(fit.offset[0]), float(fit.rate[0])
    assert best is not None
    return best[1], best[1] + size, best[2], best[3]


def _matched(part: Edges, nearest: Nearest, offset: float, rate: float) -> tuple[Floats, Floats]:
    """Capture time and golden time of the edges that have a partner."""
    predicted = offset + rate * part.time
    rest = nearest.distance(part.kind, predicted)
    near = np.abs(rest) < GATE
    return part.time[near], (predicted + rest)[near]


def _carry(
    edges: Edges, nearest: Nearest, seed: tuple[Floats, Floats], begin: int, direction: int
) -> tuple[Floats, Floats]:
    """Matched edges from edge number `begin` on, to the end (direction 1) or down to the start (-1)."""
    capture, golden = seed
    got: list[tuple[Floats, Floats]] = []
    end = len(edges.time) if direction > 0 else 0
    while begin != end:
        here = edges.time[min(begin, len(edges.time) - 1)]
        recent = np.abs(capture - here) < MEMORY_STEPS
        if recent.sum() > SEED_EDGES:
            capture, golden = capture[recent], golden[recent]
        middle = capture.mean()
        slope, shift = np.polyfit(capture - middle, golden, 1)
        # A block is a part of what is known already, so that its prediction is sure.
        length = min((capture[-1] - capture[0]) / 4, BLOCK_STEPS)
        far = int(np.searchsorted(edges.time, here + direction * length))
        stop = min(max(far, begin + 4), end) if direction > 0 else max(min(far, begin - 4), end)
        block = edges.part(slice(min(begin, stop), max(begin, stop)))
        block = block.part(slice(None, None, 1 + len(block.time) // BLOCK_EDGES))
        found = _matched(block, nearest, shift - slope * middle, slope)
        if len(found[0]) > 0.5 * len(block.time):
            got.append(found)
            parts = [(capture, golden), found][::direction]
            keep = slice(-MEMORY, None) if direction > 0 else slice(None, MEMORY)
            capture, golden = (np.concatenate(p)[keep] for p in zip(*parts, strict=True))
        begin = stop
    nothing = (np.zeros(0), np.zeros(0))
    joined = list(zip(*(got[::direction] or [nothing]), strict=True))
    return np.concatenate(joined[0]), np.concatenate(joined[1])


def _averaged(capture: Floats, golden: Floats, rate: float) -> TimeBase:
    """Means of groups of matched edges, and straight lines through the first and last group to the ends."""
    count = len(capture)
    if count < 3:
        middle = float(capture.mean()) if count else 0.0
        at = float(golden.mean()) if count else 0.0
        points = np.array([middle, middle + 1.0])
        return TimeBase(points, at + rate * (points - middle), np.full(2, 0.3), GATE, rate, 0.05)
    span = float(capture[-1] - capture[0])
    groups = int(max(1, min(count // SEED_EDGES, span / GROUP_STEPS)))
    bounds = np.linspace(0, count, groups + 1).astype(np.int64)
    sizes = np.diff(bounds)
    x = np.add.reduceat(capture, bounds[:-1]) / sizes
    y = np.add.reduceat(golden, bounds[:-1]) / sizes
    ends = []
    for rows, edge in ((slice(0, bounds[1]), capture[0]), (slice(bounds[-2], None), capture[-1])):
        middle = capture[rows].mean()
        slope, shift = np.polyfit(capture[rows] - middle, golden[rows], 1)
        ends.append((float(edge), float(shift + slope * (edge - middle))))
    x = np.concatenate([[ends[0][0]], x, [ends[1][0]]])
    y = np.concatenate([[ends[0][1]], y, [ends[1][1]]])
    rest = golden - np.interp(capture, x, y)
    spread = max(float(rest.std()) * (count / max(count - 2, 1)) ** 0.5, 0.003)
    sigma = spread / np.sqrt(sizes)
    lever = float(np.sqrt(((capture - capture.mean()) ** 2).sum()))
    return TimeBase(
        capture=x,
        golden=y,
        sigma=np.concatenate([2 * sigma[:1], sigma, 2 * sigma[-1:]]),  # at its ends a line is half as sure
        reach=float(np.quantile(np.abs(rest), 0.99)),
        rate=float((y[-1] - y[0]) / (x[-1] - x[0])),
        rate_sigma=spread / max(lever, 1e-9),
    )
