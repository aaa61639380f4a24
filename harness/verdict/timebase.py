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

from ..capture.record import Floats
from .align import GATE, WIDE_GATES, Fits, fitted
from .edges import Edges, Nearest, Stream

SEED_EDGES = 24  # edges that a straight line needs at least, where there are so many
SEED_LOOK = 8192  # edges among which the first line is sought
SEED_MOST = 512  # and of which it is made at most
MEMORY = 1024  # edges that it remembers
MEMORY_STEPS = 2000.0  # and for how long: a drift of 200 ppm bends this by a twentieth of a step at most
BLOCK_EDGES = 128  # edges of a block that are looked at
SAMPLE = 1 << 17  # edges of which an average is taken
FLAT = 0.1  # of the rate that was searched: a time base that runs slower than this stands still
TINY = 1e-9


@dataclass(frozen=True)
class TimeBase:
    """Golden times `golden` belong to capture times `capture` (both rise), straight in between and beyond.

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
    for beyond, at, inner in ((times < x[0], 0, 1), (times > x[-1], -1, -2)):
        if beyond.any():
            out[beyond] = y[at] + (times[beyond] - x[at]) * (y[inner] - y[at]) / (x[inner] - x[at])
    return out


def settle(edges: Stream, nearest: Nearest, offset: float, sigma: float) -> TimeBase:
    """The time base of a capture whose times already count steps, but for `sigma`: only the offset is left to find.

    Its fraction comes from where in a step the edges of each kind lie, on average, in golden and capture; that is the
    same before and after a slip of the design. The whole steps come from the search.
    """
    some = edges.sample(SAMPLE)
    apart = nearest.phases()[some.kind] - some.time
    turns = np.exp(2j * np.pi * apart[~np.isnan(apart)])
    if len(turns) < 3:
        return unit_base(offset)
    fraction = float(np.angle(turns.sum())) / (2 * np.pi)
    offset = fraction + round(offset - fraction)
    rest = np.angle(turns * np.exp(-2j * np.pi * offset)) / (2 * np.pi)
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


def track(edges: Stream, nearest: Nearest, offset: float, rate: float, around: float) -> TimeBase:
    """The time base of a capture that lies roughly at `golden = offset + rate * capture`, at least near the time
    `around`."""
    near, share = _seed(edges, nearest, offset, rate, around)
    if len(near[0]) < 2:
        return _averaged(*near, rate)
    ahead = _carry(edges, nearest, near, share, 1)
    back = _carry(edges, nearest, near, share, -1)
    capture, golden = (np.concatenate([b, n, a]) for b, n, a in zip(back, near, ahead, strict=True))
    return _averaged(capture, golden, rate)


def straight(edges: Stream, nearest: Nearest, offset: float, rate: float) -> tuple[TimeBase, float] | None:
    """The same for a capture with so few changes, and so short, that a line through all is surer than one carried on,
    and the chance at which a step that was lost or gained on the way would explain the edges so much better by accident
    (1 where none does).

    None where there are more.
    """
    if edges.last - edges.first > MEMORY_STEPS or edges.total > SEED_MOST:
        return None
    capture, golden = _matched(edges.head(edges.first, edges.total), nearest, offset, rate)
    return None if len(capture) < 3 else (_averaged(capture, golden, rate), _slips(capture, golden))


def _slips(x: Floats, y: Floats) -> float:
    """The chance at which a line with a step of 1 up or down in it fits these points so much better than one without.

    1 where none does better, by least squares. The step's own remainder is taken from the line first; ends of less than
    two points are left out. That one of two given laws is the likelier by a factor, though the other holds, has at most
    the inverse of it as its chance; here it is multiplied by the number of places (Bonferroni's correction).
    """
    middle, height, slope = _straight(x, y, 1.0)
    rest = y - height - slope * (x - middle)
    behind = np.cumsum(rest[::-1])[::-1]
    count = np.arange(len(x), 0, -1)
    lever = np.cumsum((x - middle)[::-1])[::-1]
    own = count - count**2 / len(x) - lever**2 / max(float(((x - middle) ** 2).sum()), TINY)
    better = float((2 * np.abs(behind) - own)[2:-1].max(initial=0.0))
    if better <= 0:
        return 1.0
    squares = float((rest**2).sum())
    return float(min(1.0, len(x) * (max(squares - better, TINY) / squares) ** (len(x) / 2)))


def _seed(
    edges: Stream, nearest: Nearest, offset: float, rate: float, around: float
) -> tuple[tuple[Floats, Floats], float]:
    """The matched edges of the stretch that fits best by itself, and how many of its edges they are."""
    some = edges.head(around, SEED_LOOK)
    count = len(some.time)
    size = min(max(count // 2, min(count, 10)), SEED_MOST)
    best: tuple[float, tuple[Floats, Floats]] | None = None
    for start in sorted({round(share * (count - size)) for share in (0, 1 / 3, 1 / 2, 2 / 3, 1)}):
        part = some.part(slice(start, start + size))
        fit = fitted(part, nearest, Fits(np.array([offset]), np.array([rate]), np.zeros(1)), WIDE_GATES)
        found = _matched(part, nearest, float(fit.offset[0]), float(fit.rate[0]))
        rest = found[1] - fit.offset[0] - fit.rate[0] * found[0]
        # Few unmatched edges first, a small spread second; an early stretch wins a draw.
        cost = 1 - len(rest) / size + (float(np.abs(rest).mean()) if len(rest) else 1.0)
        if best is None or cost < 0.9 * best[0]:
            best = cost, found
    assert best is not None
    return best[1], len(best[1][0]) / size


def _matched(part: Edges, nearest: Nearest, offset: float, rate: float) -> tuple[Floats, Floats]:
    """Capture time and golden time of the edges that have a partner."""
    predicted = offset + rate * part.time
    rest = nearest.distance(part.kind, predicted)
    near = np.abs(rest) < GATE
    return part.time[near], (predicted + rest)[near]


def _carry(
    edges: Stream, nearest: Nearest, seed: tuple[Floats, Floats], share: float, direction: int
) -> tuple[Floats, Floats]:
    """Matched edges beyond the seed, to the last edge (direction 1) or back to the first (-1).

    A block counts if it matches as well as the seed did, of whose edges `share` had a partner, within what chance
    allows: behind a slip of the design some edges match too, by accident.
    """
    share = min(share, 0.95)
    capture, golden = seed
    memory = _memory(edges.last - edges.first)
    got: list[tuple[Floats, Floats]] = []
    here, end = (capture[-1] + TINY, edges.last + TINY) if direction > 0 else (capture[0], edges.first)
    while (end - here) * direction > 0:
        recent = np.abs(capture - here) < memory
        if recent.sum() > SEED_EDGES:
            capture, golden = capture[recent], golden[recent]
        middle, shift, slope = _straight(capture, golden, 1.0)
        # A block is a part of what is known already, so that its prediction is sure.
        there = here + direction * min(max((capture[-1] - capture[0]) / 4, 1.0), memory / 4)
        block = edges.between(min(here, there), max(here, there), BLOCK_EDGES)
        found = _matched(block, nearest, shift - slope * middle, slope)
        count = len(block.time)
        if (
            len(found[0]) > 0
            and len(found[0]) > count * share - 2 * (count * share * (1 - share) + 0.25) ** 0.5
        ):
            got.append(found)
            parts = [(capture, golden), found][::direction]
            keep = slice(-MEMORY, None) if direction > 0 else slice(None, MEMORY)
            capture, golden = (np.concatenate(p)[keep] for p in zip(*parts, strict=True))
        here = there
    nothing = (np.zeros(0), np.zeros(0))
    joined = list(zip(*(got[::direction] or [nothing]), strict=True))
    return np.concatenate(joined[0]), np.concatenate(joined[1])


def _memory(span: float) -> float:
    """For how many steps a straight line is remembered; in a very long recording a drift bends each part the less."""
    return max(MEMORY_STEPS, span / 400)


def _straight(x: Floats, y: Floats, rate: float) -> tuple[float, float, float]:
    """The least squares line through some points: their middle, its height there and its slope (`rate` for one
    point)."""
    middle, height = float(x.mean()), float(y.mean())
    spread = float(((x - middle) ** 2).sum())
    return middle, height, float(((x - middle) * (y - height)).sum()) / spread if spread > TINY else rate


def _averaged(capture: Floats, golden: Floats, rate: float) -> TimeBase:
    """Means of groups of matched edges, and straight lines through the first and last group to the ends."""
    count = len(capture)
    if count < 3:
        return _one_line(capture, golden, rate, 0.3)
    span = float(capture[-1] - capture[0])
    groups = int(max(1, min(count // SEED_EDGES, 2 * span / _memory(span))))
    bounds = np.linspace(0, count, groups + 1).astype(np.int64)
    sizes = np.diff(bounds)
    x = np.add.reduceat(capture, bounds[:-1]) / sizes
    y = np.add.reduceat(golden, bounds[:-1]) / sizes
    ends = []
    for rows, edge in ((slice(0, bounds[1]), capture[0]), (slice(bounds[-2], None), capture[-1])):
        middle, shift, slope = _straight(capture[rows], golden[rows], rate)
        ends.append((float(edge), float(shift + slope * (edge - middle))))
    x = np.concatenate([[ends[0][0]], x, [ends[1][0]]])
    y = np.concatenate([[ends[0][1]], y, [ends[1][1]]])
    rest = golden - np.interp(capture, x, y)
    spread = max(float(rest.std()) * (count / max(count - 2, 1)) ** 0.5, 0.003)
    if np.diff(x).min() <= 0 or (np.diff(y) < FLAT * rate * np.diff(x)).any():
        return _one_line(capture, golden, rate, spread)  # many edges that fall on one instant, say
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


def _one_line(capture: Floats, golden: Floats, rate: float, sigma: float) -> TimeBase:
    """A line of this rate through the middle of some matched edges, or through nothing."""
    middle, at = (float(times.mean()) if len(times) else 0.0 for times in (capture, golden))
    points = np.array([middle, middle + 1.0])
    return TimeBase(points, at + rate * (points - middle), np.full(2, sigma), GATE, rate, 0.05)
