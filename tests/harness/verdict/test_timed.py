"""Bursts, short windows and stated rates, a few of each; `python -m tests.harness.verdict.timed` measures many."""

from __future__ import annotations

import numpy as np
from forelight.harness.capture.record import Capture, RecordedLine
from forelight.harness.verdict.clock import clocks
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, check

from tests.harness.verdict.noise import BOARD, Setup, golden_of, states
from tests.harness.verdict.timed import in_bursts, rate_error, short
from tests.sizes import sized


def test_bursts_agree_though_the_clock_drifts() -> None:
    """Three bursts 2000 steps apart, samples a quarter of a step apart, 200 ppm of drift: seeds 0 and 1."""
    assert all(in_bursts(seed, 0).kind != DIFFERS for seed in range(2))


def test_a_step_that_was_lost_between_bursts_is_found() -> None:
    """Edges good to a hundredth of a step: seeds 0 and 1."""
    assert [in_bursts(seed, lost).kind for seed, lost in ((0, 1), (1, 6))] == [DIFFERS, DIFFERS]


def test_bursts_of_designs() -> None:
    """The same of designs that pause: seed 0, good, and with a step lost and gained."""
    for name in sized(("tide_gauge",), ("tide_gauge", "berth_number")):
        assert [in_bursts(0, lost, name).kind for lost in (0, 1, -1)] == [AGREES, DIFFERS, DIFFERS]


def test_short_windows_with_twenty_changes() -> None:
    """Seeds 0 to 19."""
    kinds = [verdict.kind for seed in range(20) if (verdict := short(seed))]
    assert DIFFERS not in kinds
    assert kinds.count(AGREES) >= 0.85 * len(kinds)


def test_stated_rates_are_as_sure_as_they_say() -> None:
    """Seeds 0 to 19: hardly any is off by more than 2.6 of its standard deviations, and not all by less than half."""
    errors = [abs(error) for seed in range(20) if (error := rate_error(seed)) is not None]
    assert sum(error > 2.6 for error in errors) <= 2
    assert sum(error > 0.5 for error in errors) >= 5


def test_few_edges_in_no_time_have_clocks_all_the_same() -> None:
    """Seeds from 0 on: 2 to 5 edges within a billionth of a step up to a million steps, some at one instant."""
    for seed in range(sized(25, 100)):
        rng = np.random.default_rng(seed)
        count = int(rng.integers(2, 6))
        times = np.sort(np.round(rng.uniform(0, 1, count), 1 + seed % 8)) * 10.0 ** rng.uniform(-9, 6)
        low = 10.0 ** rng.uniform(-3, 0)
        high = low * float(rng.choice([1.04, 4096.0]))
        for found in clocks(times, rng.uniform(-0.5, 0.5, count), low, high):
            assert low / 2 <= found.rate <= 2 * high
            assert np.isfinite(
                [found.rate_sigma, found.sigma, found.cost, found.handicap, found.credit]
            ).all()


def test_a_recording_that_would_last_for_years_is_read() -> None:
    """Of samples at a rate that nobody stated the shortest run is taken for a step, and here the
    recording has a million million of them."""
    line = RecordedLine(np.array([0.0, 0.3, 0.3 + 1e-12, 0.7, 0.8]), np.array([0, 1, 0, 1, 0], np.uint8))
    capture = Capture({"o0": line, "o1": line}, 0.0, 1.0, unit="samples")
    setup = Setup(states("lfsr", 60, np.random.default_rng(1)), half=2, lead=5, restart=0, unsettled=0)
    assert check(golden_of(setup), capture, BOARD).kind == INCONCLUSIVE
