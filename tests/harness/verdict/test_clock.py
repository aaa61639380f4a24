"""Clocks by the places of edges in a step: as near to the truth as the edges allow, and worth what they say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.capture.record import Floats
from forelight.harness.verdict.clock import clocks, credit, keeping, steady

RATE, LOW, HIGH = 50.0, 49.0, 51.0
PLACES = np.array([0.1, 0.6])  # in a step, of edges up and down


def edges(
    count: int, rate: float, drift: float = 0.0, jitter: float = 0.0, seed: int = 1
) -> tuple[Floats, Floats, Floats]:
    """The times of so many edges some steps apart, their places in a step, and in which steps they are; the clock
    drifts so much, relatively, from one end to the other."""
    print("seed", seed)
    rng = np.random.default_rng(seed)
    places = PLACES[np.arange(count) % 2]
    steps = np.cumsum(rng.integers(1, 5, count)) + places
    strayed = steps + rng.normal(0, jitter, count)
    end = steps[-1]
    times = (strayed + drift / 2 * (strayed - end) * strayed / end) / rate
    order = np.argsort(times, kind="stable")
    return times[order], places[order], steps[order]


@pytest.mark.parametrize(("count", "drift"), [(300, 0.0), (1600, 200e-6), (2100, -200e-6), (9000, 200e-6)])
def test_a_clock_that_drifts_is_followed_to_the_end(count: int, drift: float) -> None:
    """Edges that stray by a twentieth of a step, some of them by chance by three times as much."""
    jitter = 0.05
    times, places, steps = edges(count, RATE * 1.013, drift, jitter)
    found = clocks(times, places, LOW, HIGH)[0]
    late = found.steps(times) - steps
    late -= np.round(np.median(late))
    assert np.abs(late).max() < 5 * jitter
    assert abs(float(late.mean())) < 0.02
    blocks = np.abs([part.mean() for part in np.array_split(late, max(count // 512, 1))])
    assert blocks.max() < 0.02
    assert found.rate == pytest.approx(RATE * 1.013, rel=1.2e-4)
    assert found.spread == pytest.approx(jitter, rel=0.2)
    assert found.stray == pytest.approx(2.576 * jitter, rel=0.25)  # 99 % of a normal distribution
    assert found.sigma == pytest.approx(2 * found.spread / math.sqrt(min(count, 512)))
    assert len(found.x) == (9 if count < 2048 else count // 512)
    assert not drift or found.rate_sigma < 1e-4 * found.rate


@pytest.mark.parametrize("drift", [-200e-6, 0.0, 200e-6])
def test_a_drift_that_blurs_all_rates_is_bent_back(drift: float) -> None:
    """Over 48,000 steps 200 ppm bend a clock by more than a step; edges are eight steps apart, at three places."""
    print("seed 0")
    rng = np.random.default_rng(0)
    places = rng.choice([0.1, 0.45, 0.8], 6000)
    steps = np.cumsum(rng.integers(4, 12, 6000)) + places
    strayed, end = steps + rng.normal(0, 0.12, 6000), steps[-1]
    times = (strayed + drift / 2 * (strayed - end) * strayed / end) / RATE
    order = np.argsort(times, kind="stable")
    late = clocks(times[order], places[order], LOW, HIGH)[0].steps(times[order]) - steps[order]
    assert np.abs(late - np.round(np.median(late))).max() < 5 * 0.12


def test_the_rate_is_as_uncertain_as_a_straight_line_through_the_edges() -> None:
    """The textbook's deviation of a slope: that of the edges over the root of their sum of squares in time."""
    times, places, steps = edges(400, RATE, jitter=0.04)
    found = clocks(times, places, LOW, HIGH)[0]
    late = steps - np.polyval(np.polyfit(times, steps, 1), times)
    sigma = late.std(ddof=2) / math.sqrt(((times - times.mean()) ** 2).sum())
    assert found.rate_sigma == pytest.approx(sigma, rel=0.1)


def test_few_edges_are_trusted_as_few() -> None:
    """Student 1908: of 4 edges, two degrees of freedom, 95 % lie within 4.303 deviations; of many within 1.96."""
    sure = []
    for count in (4, 400):
        times, places, _ = edges(count, RATE, jitter=0.02, seed=5)
        found = clocks(times, places, LOW, HIGH)[0]
        t = times - times.mean()
        rest = (found.steps(times) - places + 0.5) % 1.0 - 0.5
        sure.append(found.rate_sigma / (rest.std() * math.sqrt(count / (count - 2) / (t**2).sum())))
    assert sure[0] / sure[1] == pytest.approx(4.303 / 1.96, rel=0.1)


def test_edges_at_two_places_tell_a_step_from_half_of_one() -> None:
    """Edges up and down by turns, half a step apart: all come at one place in a step of a clock twice as fast."""
    steps = np.arange(0, 60, 0.5)
    places = steps % 1.0
    found = clocks(steps / RATE, places, 0.4 * RATE, 2.5 * RATE)
    assert found[0].rate == pytest.approx(RATE, rel=1e-6)
    assert clocks(steps / RATE, places * 0, 0.4 * RATE, 2.5 * RATE)[0].rate == pytest.approx(2 * RATE)


def test_two_bursts_leave_more_than_one_clock() -> None:
    """Between two bursts 400 steps apart a step more or less may pass: clocks of their own, a count apart."""
    rng = np.random.default_rng(3)
    print("seed 3")
    steps = np.concatenate([np.arange(12.0), 400 + np.arange(12.0)])
    times = (steps + rng.normal(0, 0.1, len(steps))) / RATE
    found = clocks(times, steps * 0, LOW, HIGH)
    assert found[0].handicap == 0
    assert len(found) >= 5
    counted = [clock.steps(times[[0, -1]]) for clock in found]
    passed = [round(float(after - before)) for before, after in counted]
    assert 411 in passed
    assert len(set(passed)) == len(passed)
    for clock in found:
        assert clock.handicap == pytest.approx(clock.cost - found[0].cost)
        assert LOW / 2 <= clock.rate <= 2 * HIGH
    assert [round(clock.handicap) for clock in found] == sorted(round(clock.handicap) for clock in found)


def test_what_the_times_of_edges_cost() -> None:
    """Edges where they should be, to a hundredth of a step: each saves the logarithm of the density of the normal
    distribution there, two in a hundred keeping to no clock; those that come at one instant save as much together."""
    each = math.log2(0.98 / (0.01 * math.sqrt(2 * math.pi)) + 0.02)
    steps = np.cumsum(np.random.default_rng(2).integers(1, 4, 200)).astype(np.float64)
    alone = clocks(steps / RATE, steps * 0, LOW, HIGH)[0]
    assert alone.cost == pytest.approx(-200 * each, rel=1e-3)
    pairs = np.repeat(steps, 2)
    assert clocks(pairs / RATE, pairs * 0, LOW, HIGH)[0].cost == pytest.approx(alone.cost, rel=1e-3)
    assert alone.credit == pytest.approx(credit(LOW, HIGH))
    some = steps[:3]
    few = clocks(some / RATE, some * 0, LOW, HIGH)[0]
    rates = max((HIGH - LOW) * float(np.ptp(some)) / RATE, 1.0) * 9
    assert few.credit == pytest.approx(min(max(-few.cost - math.log2(rates), 0.0), credit(LOW, HIGH)))


def test_what_it_says_that_a_rate_lies_between_two() -> None:
    """Of the twelve octaves from 64 times slower to 64 times faster these are all, half, a quarter and a twelfth."""
    assert [credit(1, 4096), credit(1, 64), credit(2, 16)] == pytest.approx([0, 1, 2])
    assert credit(5, 10) == pytest.approx(math.log2(12))


def test_how_edges_keep_to_a_clock_that_was_given() -> None:
    times, places, _ = edges(60, RATE, jitter=0.03)
    clock = replace(steady(RATE), given=True)
    assert keeping(clock, times[:7], places[:7], 5.0) is clock
    found = keeping(clock, times, places, 5.0)
    assert (found.credit, found.given) == (5.0, True)
    assert found.spread == pytest.approx(0.03, rel=0.3)
    eight = keeping(clock, times[:8], places[:8], 1e9)
    rest = (places[:8] - RATE * times[:8] + 0.5) % 1.0 - 0.5
    density = np.exp(-0.5 * (rest / 0.02) ** 2) / (0.02 * math.sqrt(2 * math.pi))
    by_this = float(np.log2(0.98 * density + 0.02).sum())
    assert by_this - math.log2(9) - 2 < eight.credit < by_this - math.log2(9) + 6
    # Edges that come anywhere are worth nothing.
    assert keeping(clock, times, np.random.default_rng(4).uniform(0, 1, 60), 5.0).credit == 0.0


def test_edges_that_keep_to_no_clock() -> None:
    assert clocks(np.zeros(0), np.zeros(0), LOW, HIGH) == []
    assert clocks(np.array([1.0]), np.zeros(1), LOW, HIGH) == []
    assert clocks(np.array([1.0, 1.0]), np.zeros(2), LOW, HIGH) == []
