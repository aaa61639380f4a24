"""Reads the step clock off its own line, where that was recorded.

Theory of operation. Each rise of the line is a unit vector turned once a step; the length of their sum, over their
number, is how well a rate fits (the strength). Falls do the same, from wherever in the step they lie. Jitter, spikes,
and pulses lost between slow samples weaken the sum but do not turn it. The rate is sought around the median distance
of two rises, on a first stretch and then ever closer on ever longer ones; then the direction of the sum of each short
block of edges gives the phase there, which follows an instrument's clock that drifts.
"""

from __future__ import annotations

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from .record import Floats, RecordedLine

FEW = 8  # rises that are needed
MOST = 8192  # edges that the rate is found from
BLOCK = 512  # edges that give one phase: a drift of 200 ppm bends so many by a hundredth of a step
# Jitter of a third of a step alone leaves a strength of 0.41, samples a third of a step apart leave 0.83 of that.
WEAK = 0.2
# Of few pulses that come anywhere the best of all rates that are tried explains more, up to so many times the root of
# ln(n) / n for n of them; beyond so much nobody doubts it.
BY_CHANCE, CLEAR = 1.5, 0.65


@frozen
class RecordedClock:
    """Capture times `capture` are at the step counts `steps` (both rising, straight in between and beyond).

    A count of 0 is at a rise. `rate` is steps per unit of the capture's time, `sigma` its standard deviation, `phase`
    the standard deviation of a step count in steps.
    """

    capture: Floats
    steps: Floats
    rate: float
    sigma: float
    phase: float


def through(times: Floats, x: Floats, y: Floats) -> Floats:
    """Straight lines through the points, the first and last of them prolonged."""
    out = np.interp(times, x, y)
    for beyond, at, inner in ((times < x[0], 0, 1), (times > x[-1], -1, -2)):
        if beyond.any():
            out[beyond] = y[at] + (times[beyond] - x[at]) * (y[inner] - y[at]) / (x[inner] - x[at])
    return out


def step_clock(line: RecordedLine) -> RecordedClock | None:
    """The step clock on this line; None where the line does not keep to one."""
    known = (line.levels[1:] != UNKNOWN) & (line.levels[:-1] != UNKNOWN)
    edges, up = line.times[1:][known], line.levels[1:][known] == 1
    if up.sum() < FEW:
        return None
    rate = _rate(edges, up)
    vectors = np.exp(2j * np.pi * (edges - edges[0]) * rate)
    # The falls are turned to where the rises are.
    turn = vectors[up].sum() * np.conj(vectors[~up].sum())
    vectors[~up] *= turn / max(abs(turn), 1e-9)
    blocks = max(1, len(edges) // BLOCK)
    bounds = np.linspace(0, len(edges), blocks + 1).astype(np.int64)
    sizes = np.diff(bounds)
    sums = np.add.reduceat(vectors, bounds[:-1])
    strength = min(float(np.abs(sums).sum()) / len(edges), 1 - 1e-6)
    if strength < max(WEAK, min(BY_CHANCE * np.sqrt(np.log(up.sum()) / up.sum()), CLEAR)):
        return None
    middle = np.add.reduceat(edges, bounds[:-1]) / sizes
    steps = (middle - edges[0]) * rate - np.unwrap(np.angle(sums)) / (2 * np.pi)
    if blocks == 1:
        middle, steps = np.array([middle[0], middle[0] + 1 / rate]), np.array([steps[0], steps[0] + 1.0])
    spread = float(np.sqrt(-2 * np.log(strength))) / (
        2 * np.pi
    )  # of the wrapped normal distribution of that strength
    lever = float(np.sqrt(((edges - edges.mean()) ** 2).sum()))
    mean_rate = float((steps[-1] - steps[0]) / (middle[-1] - middle[0]))
    return RecordedClock(middle, steps, mean_rate, spread / lever, 2 * spread / float(np.sqrt(sizes.min())))


def _rate(edges: Floats, up: NDArray[np.bool_]) -> float:
    """Steps per unit of time."""
    rate, width, fine, count = 1 / float(np.median(np.diff(edges[up]))), 0.35, 0.1, 128
    while True:
        part, rise = edges[:count] - edges[0], up[:count]
        turns = max(float(part[-1]) * rate, 1.0)
        rates = rate * (1 + np.arange(-width, width, fine / turns))
        vectors = np.exp(2j * np.pi * rates[:, None] * part)
        strength = np.abs(vectors[:, rise].sum(axis=1)) + np.abs(vectors[:, ~rise].sum(axis=1))
        rate = float(rates[np.argmax(strength)])
        if fine < 0.1:
            return rate
        # On a stretch four times as long the same grid is four times as fine; on the longest one a finer grid yet.
        width, fine = (1.0 / turns, 0.1) if count < min(len(edges), MOST) else (0.1 / turns, 0.005)
        count *= 4
