"""The pulse-width meter against periods counted by hand, and against a plain loop over random lines."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from forelight.harness.attach.meter import Spread, measure

from .lines import trace


def test_a_steady_signal() -> None:
    rows = [(0, 0), *((100 + 50 * n, (n + 1) % 2) for n in range(0, 9))]  # rises at 100, 200, 300, 400, 500
    found = measure(trace({"signal": rows}, 600), 1000.0)
    assert found is not None
    assert (found.periods, found.hz, found.duty) == (4, Spread(10, 10, 10), Spread(0.5, 0.5, 0.5))


def test_least_mean_and_most() -> None:
    rows = [(0, 0), (10, 1), (15, 0), (30, 1), (60, 0), (70, 1)]  # 5 of 20, then 30 of 40
    found = measure(trace({"signal": rows}, 100), 1000.0)
    assert found is not None and found.periods == 2
    assert (found.hz.least, found.hz.most) == (25, 50)
    assert found.hz.mean == pytest.approx(2 / 0.06)
    assert (found.duty.least, found.duty.most) == (0.25, 0.75)
    assert found.duty.mean == pytest.approx(35 / 60)


@pytest.mark.parametrize(
    "rows",
    [[(0, 0)], [(0, 1)], [(0, 2)], [(0, 0), (5, 1)], [(0, 1), (5, 0), (9, 1)], [(0, 0), (5, 1), (9, 0)]],
)
def test_less_than_a_period_gives_no_reading(rows: list[tuple[int, int]]) -> None:
    assert measure(trace({"signal": rows}, 100), 1000.0) is None


@pytest.mark.parametrize("seed", range(10))
def test_random_lines_with_unsettled_stretches(seed: int) -> None:
    chance = random.Random(seed)
    print(f"seed {seed}")
    times = sorted(chance.sample(range(1, 5000), 300))
    rows = [(0, chance.choice([0, 1, 2])), *((time, chance.choice([0, 0, 0, 1, 1, 1, 2])) for time in times)]
    level = [0] * 5001  # what is known of each instant
    for (start, state), (end, _) in zip(rows, [*rows[1:], (5001, 0)], strict=True):
        level[start:end] = [state] * (end - start)
    rises = [t for t in range(1, 5000) if level[t - 1 : t + 1] == [0, 1]]
    periods = []
    for first, second in pairwise(rises):
        inside = level[first : second + 1]
        if 2 not in inside:
            periods.append((second - first, sum(inside[:-1])))
    found = measure(trace({"signal": rows}, 5000), 1000.0)
    assert found is not None and found.periods == len(periods) > 10
    assert found.hz.most == 1000 / min(length for length, _ in periods)
    assert found.hz.least == 1000 / max(length for length, _ in periods)
    assert found.hz.mean == pytest.approx(1000 * len(periods) / sum(length for length, _ in periods))
    assert found.duty.least == min(high / length for length, high in periods)
    assert found.duty.most == max(high / length for length, high in periods)
