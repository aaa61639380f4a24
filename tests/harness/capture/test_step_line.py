"""The step clock on its own line: rate and phase under jitter, slow samples, lost pulses, spikes and drift."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.capture.record import RecordedLine, changes_only
from forelight.harness.capture.step_line import step_clock, through
from numpy.typing import NDArray

STEP = 0.0137


def clock_line(steps: int, jitter: float, rng: np.random.Generator, drift: float = 0.0) -> RecordedLine:
    """A step clock whose instrument runs `drift` faster at the end than at the start."""
    counts = np.arange(steps)
    ideal = np.stack([counts, counts + 0.5], axis=1).ravel()
    moved = np.sort(ideal + rng.uniform(-jitter, jitter, 2 * steps))
    return RecordedLine(_instrument(moved, steps, drift), np.tile(np.array([1, 0], np.uint8), steps))


def _instrument(steps: NDArray[np.float64], total: int, drift: float) -> NDArray[np.float64]:
    share = steps / total
    return 5.0 + STEP * (steps + drift * total * (share * share - share) / 2)


@pytest.mark.parametrize("jitter", [0.0, 0.1, 0.2, 1 / 3])
@pytest.mark.parametrize("steps", [200, 2_000, 60_000])
def test_rate_and_phase(jitter: float, steps: int) -> None:
    rng = np.random.default_rng(11)
    print("seed 11")
    line = clock_line(steps, jitter, rng, 200e-6)
    clock = step_clock(line)
    assert clock is not None
    assert abs(clock.rate * STEP - 1) < 2e-6 + 6 * clock.sigma * STEP
    at = np.linspace(0, steps, 41)
    off = through(_instrument(at, steps, 200e-6), clock.capture, clock.steps) - at
    off -= np.round(off.mean())  # a count may begin at any rise
    assert np.abs(off - off.mean()).max() < 0.02 + 3 * clock.phase


def test_slow_samples_lose_pulses_and_not_the_rate() -> None:
    rng = np.random.default_rng(12)
    print("seed 12")
    line = clock_line(1000, 1 / 3, rng)
    grid = np.arange(5.0, 5.0 + 1000 * STEP, STEP / 3.0)
    sampled = changes_only(grid, line.at(grid))
    assert len(sampled.times) < 0.8 * len(line.times)
    clock = step_clock(sampled)
    assert clock is not None
    assert abs(clock.rate * STEP - 1) < 1e-4


def test_any_share_of_the_step_may_be_high() -> None:
    counts = np.arange(500.0)
    for high in (0.1, 0.5, 0.85):
        times = np.stack([counts, counts + high], axis=1).ravel() * STEP
        clock = step_clock(RecordedLine(times, np.tile(np.array([1, 0], np.uint8), 500)))
        assert clock is not None
        steps = through(times[::2], clock.capture, clock.steps)
        assert np.abs(steps - np.round(steps)).max() < 0.003


def test_what_is_no_clock_is_none() -> None:
    rng = np.random.default_rng(13)
    print("seed 13")
    times = np.cumsum(rng.exponential(1.0, 400))
    assert step_clock(RecordedLine(times, np.tile(np.array([1, 0], np.uint8), 200))) is None
    assert step_clock(RecordedLine(np.array([0.0]), np.array([1], np.uint8))) is None
    assert step_clock(RecordedLine(np.arange(8.0), np.tile(np.array([1, 0], np.uint8), 4))) is None


def test_few_pulses_that_come_anywhere_are_no_clock() -> None:
    """Of 60 lines with 16 spikes each one or another may look like a clock, and of as many true clocks of 16 steps none
    is missed."""
    rng = np.random.default_rng(14)
    print("seed 14")
    taken = missed = 0
    for _ in range(60):
        begin = np.sort(rng.uniform(0, 3, 16))
        spikes = np.stack([begin, begin + 2e-4], axis=1).ravel()
        taken += (
            step_clock(RecordedLine(np.sort(spikes), np.tile(np.array([1, 0], np.uint8), 16))) is not None
        )
        missed += step_clock(clock_line(16, 0.2, rng)) is None
    assert taken <= 12 and missed == 0
