"""The time base of a capture: which golden time belongs to which capture time, and how sure that is.

Theory of operation. A search has laid a first stretch of the capture on the golden. From there the time base is
carried on in both directions, block by block: a block's edges are predicted from the stretch before, matched to the
nearest golden edge of the same line and direction, and a straight line is fitted to the matched ones of this block
and the one before. Blocks are so short that an instrument's clock that drifts, or wanders a little, is straight
within them. What remains between edges and line is the jitter; its spread over the root of the number of edges is how
well the phase is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .align import GATE, Nearest
from .record import GAP, Floats, Line
from .reference import Edges

BLOCK_STEPS = (
    500.0  # longest block, in steps: a drift of 200 ppm within a minute bends it by less than 0.01 step
)
STEP_LINE_RISES = 4096  # rises of the step line from which its rate is found
BLOCK_EDGES = 256  # edges of a block that are looked at


@dataclass(frozen=True)
class TimeBase:
    """Golden times `golden` belong to capture times `capture` (both rising), straight in between and beyond.

    `spread` is the standard deviation of an edge around it in steps, `reach` what 99 % of the edges keep within,
    `phase` the standard deviation of the time base itself, `rate` golden time per capture time over all, `rate_sigma`
    its standard deviation, `matched` the number of edges it rests on.
    """

    capture: Floats
    golden: Floats
    spread: float
    reach: float
    phase: float
    rate: float
    rate_sigma: float
    matched: int

    def to_golden(self, times: Floats) -> Floats:
        return _through(times, self.capture, self.golden)

    def to_capture(self, times: Floats) -> Floats:
        return _through(times, self.golden, self.capture)


def _through(times: Floats, x: Floats, y: Floats) -> Floats:
    """Straight lines through the points, the first and last of them prolonged."""
    out = np.interp(times, x, y)
    first, last = (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2])
    out = np.where(times < x[0], y[0] + (times - x[0]) * first, out)
    return np.where(times > x[-1], y[-1] + (times - x[-1]) * last, out)


def step_length(line: Line) -> float | None:
    """The length of a step in the units of the capture, from the recorded step line; None if it has too few edges.

    The strength of a rate is how well the rises keep to it: the length of the sum of one unit vector for each, turned
    once a step. Jitter and pulses lost between slow samples weaken it and do not move it. The best rate is sought
    around the median distance of two rises, on a first stretch, then ever closer on ever longer ones.
    """
    rises = line.times[1:][(line.levels[1:] == 1) & (line.levels[:-1] != GAP)]
    if len(rises) < 8:
        return None
    step, width, count = float(np.median(np.diff(rises))), 0.35, 64
    while True:
        part = rises[:count] - rises[0]
        turns = max(float(part[-1]) / step, 1.0)
        rates = (1 + np.arange(-width, width, 0.1 / turns)) / step
        strength = np.abs(np.exp(2j * np.pi * rates[:, None] * part).sum(axis=1))
        step = 1 / float(rates[np.argmax(strength)])
        if count >= min(len(rises), STEP_LINE_RISES):
            return step
        width, count = 1.0 / turns, 4 * count


def track(edges: Edges, nearest: Nearest, offset: float, rate: float, seed: float) -> TimeBase:
    """Carry the fit `golden = offset + rate * capture`, good around capture time `seed`, over the whole capture."""
    span = float(edges.time[-1] - edges.time[0])
    if span <= BLOCK_STEPS or len(edges.time) <= BLOCK_EDGES:
        return _whole(edges, nearest, offset, rate)
    ahead = _carry(edges, nearest, offset + rate * seed, rate, seed, 1)
    back = _carry(edges, nearest, offset + rate * seed, rate, seed, -1)
    points = sorted({*back, *ahead})
    capture, golden = np.array([p[0] for p in points]), np.array([p[1] for p in points])
    rising = np.r_[True, np.diff(capture) > 1e-9]
    capture, golden = capture[rising], golden[rising]
    sample = edges.part(slice(None, None, max(1, len(edges.time) // 200_000)))
    rest = nearest.distance(sample.kind, _through(sample.time, capture, golden))
    return _measured(capture, golden, rest[np.abs(rest) < GATE], sample.time, BLOCK_EDGES)


def _whole(edges: Edges, nearest: Nearest, offset: float, rate: float) -> TimeBase:
    """One line, or a gentle curve where the capture is long, through all edges."""
    time = edges.time
    middle, half = (time[0] + time[-1]) / 2, max((time[-1] - time[0]) / 2, 1.0)
    degree = 2 if half > 1000 and len(time) >= 12 else 1
    curve = np.array([rate * half, offset + rate * middle])
    x = (time - middle) / half
    for gate in (0.7, GATE, GATE):
        rest = nearest.distance(edges.kind, np.polyval(curve, x))
        match = np.abs(rest) < gate
        if match.sum() < degree + 2:
            break
        curve = np.polyadd(curve, np.polyfit(x[match], rest[match], degree))
    rest = nearest.distance(edges.kind, np.polyval(curve, x))
    match = np.abs(rest) < GATE
    knots = np.linspace(-1, 1, 33 if degree == 2 else 2)
    return _measured(
        middle + half * knots, np.polyval(curve, knots), rest[match], time[match], int(match.sum())
    )


def _carry(
    edges: Edges, nearest: Nearest, golden: float, rate: float, capture: float, direction: int
) -> list[tuple[float, float]]:
    """Points of the time base from `capture` to the end of the edges (direction 1) or to their start (-1)."""
    points = [(capture, golden)]
    length = 64.0
    last = float(edges.time[-1] if direction > 0 else edges.time[0])
    before_t, before_d = np.zeros(0), np.zeros(0)
    while (last - capture) * direction > 0:
        stop = capture + direction * length
        block = edges.between(min(capture, stop), max(capture, stop))
        block = block.part(slice(None, BLOCK_EDGES) if direction > 0 else slice(-BLOCK_EDGES, None))
        time = block.time - capture
        rest = nearest.distance(block.kind, golden + rate * time)
        match = np.abs(rest) < GATE
        if match.sum() >= 8 and match.mean() > 0.5:
            t, d = np.r_[before_t, time[match]], np.r_[before_d, rest[match]]
            tilt, shift = np.polyfit(t, d, 1)
            golden, rate = golden + shift, rate + tilt
            before_t, before_d = time[match], rest[match] - shift - tilt * time[match]
        points.append((capture, golden))
        golden, capture = golden + rate * (stop - capture), stop
        before_t = before_t - direction * length
        length = min(2 * length, BLOCK_STEPS)
    points.append((capture, golden))
    return points


def _measured(capture: Floats, golden: Floats, rest: Floats, time: Floats, block: int) -> TimeBase:
    count = max(len(rest), 1)
    spread = max(float(rest.std()), 0.003) if count > 2 else 0.3
    reach = float(np.quantile(np.abs(rest), 0.99)) if count > 2 else GATE
    rate = float((golden[-1] - golden[0]) / (capture[-1] - capture[0]))
    lever = float(np.sqrt(max(((time - time.mean()) ** 2).sum(), 1.0)))
    # At the ends of a straight fit the phase is twice as uncertain as in the middle.
    phase = 2 * spread / np.sqrt(min(count, block))
    return TimeBase(capture, golden, spread, reach, float(phase), rate, spread / lever, count)
