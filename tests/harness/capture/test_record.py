"""Places of times among others, as NumPy finds them, and lines of changes only."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.capture.record import KNOT, changes_only, places


@pytest.mark.parametrize("spread", [0.0, 0.4, 30.0])
@pytest.mark.parametrize("count", [1, KNOT - 1, KNOT, 5 * KNOT + 3])
def test_places_are_those_of_searchsorted(count: int, spread: float) -> None:
    """Even times, uneven ones, and times with marks on them, before them and behind them."""
    rng = np.random.default_rng(5)
    print("seed 5")
    times = np.sort(np.arange(count) + rng.uniform(0, spread, count))
    marks = np.sort(np.concatenate([rng.uniform(-9, count + 40, 2000), times[::3], times[:1], times[-1:]]))
    assert places(times, marks).tolist() == np.searchsorted(times, marks).tolist()
    assert places(times, marks[:0]).tolist() == []


def test_changes_only() -> None:
    times = np.array([0.0, 1.0, 1.0, 2.0, 3.0, 3.0])
    line = changes_only(times, np.array([0, 1, 0, 0, 0, 1], np.uint8))
    assert (line.times.tolist(), line.levels.tolist()) == ([0, 3], [0, 1])
    nothing = changes_only(times[:0], np.zeros(0, np.uint8))
    assert (len(nothing.times), len(nothing.levels)) == (0, 0)
