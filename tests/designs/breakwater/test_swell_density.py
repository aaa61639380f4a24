"""The swell's density: its exact mean, its spread, and the spectrum that makes it better than one wide pulse."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import periodogram

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

PERIOD = 64
HEIGHTS = pytest.mark.parametrize("height", range(PERIOD))


def ones(drive: Drive, height: int, steps: int) -> NDArray[np.int64]:
    design = drive("swell_density")
    design.switch(height)
    design.restart()
    return design.steps(steps).astype(np.int64)


@HEIGHTS
def test_the_mean_is_exact(drive: Drive, height: int) -> None:
    """Of any 64 steps in a row exactly `height` are ones, whichever is the first."""
    stream = ones(drive, height, 10 * PERIOD)
    assert set(stream) <= {0, 1}
    assert set(np.convolve(stream, np.ones(PERIOD, int), "valid")) == {height}


@HEIGHTS
def test_the_sum_is_never_behind_by_a_whole_one(drive: Drive, height: int) -> None:
    """After n steps floor(n * height / 64) ones have come: the definition of a first-order sigma-delta converter."""
    stream = ones(drive, height, 5 * PERIOD)
    assert np.array_equal(np.cumsum(stream), np.arange(1, 5 * PERIOD + 1) * height // PERIOD)


@pytest.mark.parametrize("height", [5, 13, 27, 37, 51, 59])
def test_it_ripples_less_than_a_wide_pulse(drive: Drive, height: int) -> None:
    """Over an eighth of the band, where a filter would pass it, its ripple is weaker than that of one pulse a period.

    scipy's periodogram over whole periods. The quantising error of first order falls towards low frequencies
    (noise shaping: Schreier and Temes, Understanding Delta-Sigma Data Converters; from memory), that of pulse width
    modulation is strongest at its slowest.
    """
    frequency, density = periodogram(ones(drive, height, 64 * PERIOD), fs=1.0)
    _, wide = periodogram((np.arange(64 * PERIOD) % PERIOD < height).astype(float), fs=1.0)
    low = (frequency > 0) & (frequency <= 1 / 16)
    assert density[low].sum() < 0.25 * wide[low].sum()


@HEIGHTS
def test_a_new_height_counts_from_the_next_step(drive: Drive, height: int) -> None:
    """What was owed before stays owed, and less than a one of it."""
    design = drive("swell_density")
    design.switch(63 - height)
    design.restart()
    design.steps(50)
    design.switch(height)
    assert set(np.convolve(design.steps(3 * PERIOD), np.ones(PERIOD, int), "valid")) == {height}
