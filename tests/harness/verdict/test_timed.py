"""Bursts, short windows and stated rates, a few of each; `python -m tests.harness.verdict.timed` measures many."""

from __future__ import annotations

from forelight.harness.verdict.verdict import AGREES, DIFFERS

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
