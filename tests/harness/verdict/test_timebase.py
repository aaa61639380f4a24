"""Time bases: straight lines between points, and beyond them, that never stand still."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.capture.record import RecordedLine
from forelight.harness.verdict.edges import Nearest, Stream
from forelight.harness.verdict.timebase import straight, through, track


def test_through_points_and_beyond_them() -> None:
    x, y = np.array([1.0, 2.0, 4.0]), np.array([10.0, 12.0, 13.0])
    times = np.array([-1.0, 1.0, 1.5, 3.0, 4.0, 6.0])
    assert through(times, x, y).tolist() == [6, 10, 11, 12.5, 13, 14]
    assert through(through(times, x, y), y, x) == pytest.approx(times)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("rate", [0.001, 0.02, 1.0])
def test_a_time_base_rises_though_many_edges_fall_on_one_instant(rate: float) -> None:
    """Twelve lines that rise one after the other, and in the golden all at once: a flat line explains them."""
    names = tuple(f"line {n}" for n in range(12))
    levels = np.array([0, 1], np.uint8)
    golden = {name: RecordedLine(np.array([0.0, 150.0]), levels) for name in names}
    capture = {name: RecordedLine(np.array([-1.0, 5.0 * n]), levels) for n, name in enumerate(names)}
    base = track(Stream(capture, names), Nearest.of(golden, names, 300.0), 150.0, rate, 0.0)
    assert (np.diff(base.golden) > 0).all()
    assert (np.diff(base.capture) > 0).all()
    times = np.array([-50.0, 5.0, 400.0])
    assert base.to_capture(base.to_golden(times)) == pytest.approx(times, rel=0.01)


@pytest.mark.parametrize(("jitter", "slip"), [(1 / 3, 0), (0.02, 0), (0.02, 1), (0.02, -1)])
def test_a_step_that_was_lost_is_told_from_jitter(jitter: float, slip: int) -> None:
    """Sparse changes of one line: what a slip explains better by accident, is no evidence of one."""
    found = []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        times = np.cumsum(rng.integers(8, 25, 27)).astype(float)
        levels = (np.arange(28) % 2).astype(np.uint8)
        late = rng.uniform(-jitter, jitter, 27) + slip * (np.arange(27) > 12)
        golden = {"o0": RecordedLine(np.r_[0.0, times], levels)}
        capture = {"o0": RecordedLine(np.r_[-1.0, times + late], levels)}
        rate, offset = np.polyfit(times + late, times, 1)
        base = straight(Stream(capture, ("o0",)), Nearest.of(golden, ("o0",), times[-1] + 50), offset, rate)
        assert base is not None
        found.append(base[1])
    print("seeds 0 to 199")
    assert (np.array(found) <= 1e-3).mean() == pytest.approx(abs(slip), abs=0.01)
