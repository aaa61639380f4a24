"""Reads the step clock off its own line, where that was recorded.

Theory of operation. Each rise of the line is a unit vector turned once a step; the length of their sum, over their
number, is how well a rate fits (the strength). Jitter, and pulses lost between slow samples, weaken the sum but do
not turn it. The rate is sought around the median distance of two rises, on a first stretch and then ever closer on
ever longer ones; then the direction of the sum of each short block of rises gives the phase there, which follows an
instrument's clock that drifts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .record import GAP, Floats, Line

FEW = 8  # rises that are needed
MOST = 4096  # rises that the rate is found from
BLOCK = 256  # rises that give one phase: a drift of 200 ppm bends so many by a hundredth of a step
# Jitter of a third of a step alone leaves a strength of 0.41, samples a third of a step apart leave 0.83 of that.
WEAK = 0.2


@dataclass(frozen=True)
class StepClock:
    """Capture times `capture` are at the step counts `steps` (both rising, straight in between and beyond).

    A count of 0 is at a rise. `rate` is steps per unit of the capture's time, `sigma` its standard deviation, `phase`
    the standard deviation of a step count in steps.
    """

    capture: Floats
    steps: Floats
    rate: float
    sigma: float
    phase: float


def step_clock(line: Line) -> StepClock | None:
    """The step clock on this line; None where the line does not keep to one."""
    rises = line.times[1:][(line.levels[1:] == 1) & (line.levels[:-1] != GAP)]
    if len(rises) < FEW:
        return None
    rate = _rate(rises)
    turns = (rises - rises[0]) * rate
    blocks = max(1, len(rises) // BLOCK)
    bounds = np.linspace(0, len(rises), blocks + 1).astype(np.int64)
    sums = np.add.reduceat(np.exp(2j * np.pi * turns), bounds[:-1])
    sizes = np.diff(bounds)
    if float(np.abs(sums).sum()) < WEAK * len(rises):
        return None
    phase = np.unwrap(np.angle(sums)) / (2 * np.pi)
    middle = np.add.reduceat(rises, bounds[:-1]) / sizes
    strength = min(float(np.abs(sums).sum()) / len(rises), 1 - 1e-6)
    spread = float(np.sqrt(-2 * np.log(strength))) / (
        2 * np.pi
    )  # of the wrapped normal distribution of that strength
    steps = (middle - rises[0]) * rate - phase
    if blocks == 1:
        middle, steps = np.array([middle[0], middle[0] + 1 / rate]), np.array([steps[0], steps[0] + 1.0])
    lever = float(np.sqrt(((rises - rises.mean()) ** 2).sum()))
    mean_rate = float((steps[-1] - steps[0]) / (middle[-1] - middle[0]))
    return StepClock(middle, steps, mean_rate, spread / lever, 2 * spread / float(np.sqrt(sizes.min())))


def _rate(rises: Floats) -> float:
    """Steps per unit of time."""
    rate, width, fine, count = 1 / float(np.median(np.diff(rises))), 0.35, 0.1, 64
    while True:
        part = rises[:count] - rises[0]
        turns = max(float(part[-1]) * rate, 1.0)
        rates = rate * (1 + np.arange(-width, width, fine / turns))
        strength = np.abs(np.exp(2j * np.pi * rates[:, None] * part).sum(axis=1))
        rate = float(rates[np.argmax(strength)])
        if width < 0.2 / turns and count >= min(len(rises), MOST):
            return rate
        # The next grid is ten times as fine; on a stretch four times as long its neighbours stay as far apart.
        width, fine = (1.0 / turns, 0.1) if count < min(len(rises), MOST) else (0.1 / turns, 0.005)
        count *= 4
