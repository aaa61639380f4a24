"""The divider's rates and codes against figures worked by hand, a counter's data sheet, and trying every code."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from forelight.harness.boards.divider import codes_between, codes_for, rate, setting, span
from forelight.harness.boards.profile import Board
from forelight.harness.boards.reader import load_board
from forelight.sim.errors import UsageError
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.sizes import sized

#: A chain of 125 positions, three ticks a bit, at 12 MHz: a frame is 3 * 8 * 125 = 3000 ticks, so 4000 a second.
COUNTER = Board("counter", "", 12_000_000, "chain", {}, 125, positions=125, ticks_per_bit=3, law="counter")
QUAY, MOLE = load_board("quay"), load_board("mole")


@pytest.mark.parametrize(("code", "hz"), [(0, 1500), (29, 50), (56, 30), (120, 7.5), (255, 0.366)])
def test_the_rates_of_quay(code: int, hz: float) -> None:
    assert float(rate(QUAY, code)) == pytest.approx(hz, abs=0.0005)


def test_the_counter_law_worked_by_hand() -> None:
    """A step lasts two halves of `code + 1` frames: 4000 / 2, 4000 / 20, 4000 / 400 and 4000 / 512 steps a second."""
    assert COUNTER.frame_hz == 4000
    assert rate(COUNTER, 0) == span(COUNTER)[1] == 2000
    assert [rate(COUNTER, code) for code in (9, 199, 255)] == [200, 10, Fraction(125, 16)]
    assert span(COUNTER)[0] == Fraction(125, 16)


@pytest.mark.parametrize("stage", range(4, 15))
def test_the_counter_law_at_powers_of_two_is_a_ripple_counter(stage: int) -> None:
    """Stage n of a ripple counter divides by 2**n; from a watch crystal of 32,768 Hz stage 14 makes 2 Hz.

    TI CD4060B data sheet, logic diagram (from memory).
    """
    crystal = Board("crystal", "", 32_768, "direct", {}, 1, law="counter", codes=2**14)
    assert rate(crystal, 2 ** (stage - 1) - 1) == Fraction(32_768, 2**stage)
    assert codes_for(crystal, 2)[0].code == 2**13 - 1


def test_the_two_stage_law_is_mantissa_times_power_of_two() -> None:
    halves = [QUAY.half(code) for code in range(256)]
    assert halves == [(m + 1) * 2**e for e in range(8) for m in range(32)]
    assert span(QUAY) == (Fraction(3000, 2 * 32 * 128), Fraction(1500))


def test_every_code_that_gives_the_rate_is_listed_with_its_switches() -> None:
    fifty = codes_for(QUAY, 50)
    assert [item.code for item in fifty] == [29, 46]
    assert all(item.hz == 50 and item.error_percent == 0 for item in fifty)
    assert [item.switches for item in fifty] == [(0, 0, 0, 1, 1, 1, 0, 1), (0, 0, 1, 0, 1, 1, 1, 0)]


def test_the_error_is_in_percent_of_the_rate_asked_for() -> None:
    (only,) = codes_for(QUAY, 440)
    assert only.code == 2
    assert only.hz == 500
    assert only.error_percent == pytest.approx(100 * 60 / 440)
    (slow,) = codes_for(QUAY, 2000)
    assert (slow.code, slow.error_percent) == (0, -25.0)
    assert setting(QUAY, 56, Fraction(60)).error_percent == -50.0
    assert setting(QUAY, 56).error_percent == 0.0


@given(st.floats(0.001, 1e6))
@settings(print_blob=True, deadline=None, max_examples=sized(25, 100))
def test_no_other_code_of_the_switches_is_nearer(hz: float) -> None:
    for board in (QUAY, COUNTER):
        best = codes_for(board, hz)
        distances = [abs(rate(board, code) - Fraction(hz)) for code in range(256)]
        nearest = [code for code, distance in enumerate(distances) if distance == min(distances)]
        assert [item.code for item in best] == nearest


@given(st.floats(0.001, 1e9))
@settings(print_blob=True, deadline=None)
def test_no_neighbouring_setting_of_mole_is_nearer(hz: float) -> None:
    best = codes_for(MOLE, hz)
    distance = abs(best[0].hz - Fraction(hz))
    for item in best:
        assert item.switches is None
        for code in (item.code - 1, item.code + 1, 0, MOLE.codes - 1):
            if 0 <= code < MOLE.codes:
                assert abs(rate(MOLE, code) - Fraction(hz)) >= distance


@given(st.floats(0, 1e4), st.floats(0, 1e4))
@settings(print_blob=True, deadline=None)
def test_the_codes_between_two_rates(one: float, other: float) -> None:
    low, high = sorted((one, other))
    short = Board("short", "", 20_000, "direct", {}, 1, law="counter", codes=700)
    for board in (QUAY, COUNTER, short):
        found = [code for run in codes_between(board, low, high) for code in run]
        assert found == [code for code in range(board.codes) if low <= rate(board, code) <= high]
        runs = codes_between(board, low, high)
        assert all(before.stop < after.start for before, after in pairwise(runs))


def test_a_long_counter_is_not_tried_code_by_code() -> None:
    assert codes_between(MOLE, 0, 1e9) == (range(MOLE.codes),)
    assert codes_between(MOLE, 2, 2.5) == (range(9_999_999, 12_500_000),)
    assert codes_between(MOLE, 26e6, 1e9) == codes_between(MOLE, 0, 0.1) == ()


@pytest.mark.parametrize(("hz", "code"), [(25e6, 0), (50, 499_999), (1e-3, 2**26 - 1), (1e9, 0)])
def test_rates_of_mole(hz: float, code: int) -> None:
    assert [item.code for item in codes_for(MOLE, hz)] == [code]
    assert span(MOLE) == (Fraction(50_000_000, 2**27), Fraction(25_000_000))


def test_what_is_no_rate_or_no_code() -> None:
    for hz in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(UsageError, match=f"{hz} Hz is no step rate; give a rate above 0 Hz"):
            codes_for(QUAY, hz)
    for code in (-1, 256):
        with pytest.raises(UsageError, match=f"quay has no strap code {code}; the codes are 0 to 255"):
            rate(QUAY, code)
