"""What a recording costs, line by line, and what is saved of that at one place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.capture.record import Levels
from forelight.harness.verdict.clock import steady
from forelight.harness.verdict.fit import fit
from forelight.harness.verdict.placement import WRONG, Recording, timed
from forelight.harness.verdict.rows import Moments, ReadRows

NAMES = tuple(f"o{bit}" for bit in range(8))
MOMENTS = Moments(NAMES, ((0.5,),) * 8, ((0.5,),) * 8)


def rows(levels: Levels) -> ReadRows:
    return ReadRows(levels.astype(np.uint16), np.full(len(levels), 0xFF, np.uint16), 1)


def side(levels: Levels) -> Recording:
    return timed(MOMENTS, rows(levels), steady(1.0))


def test_what_repeats_itself_earns_no_credit_for_being_foretold() -> None:
    rng = np.random.default_rng(5)
    print("seed 5")
    random, ring = rng.integers(0, 256, 400), 1 << np.arange(400) // 3 % 8
    assert side(random.astype(np.uint8)).null_bits > 3100
    assert side(ring.astype(np.uint8)).null_bits < 700


def test_a_wrong_level_costs_the_same_wherever_it_is() -> None:
    rng = np.random.default_rng(12)
    print("seed 12")
    shown = rng.integers(0, 256, 900).astype(np.uint8)
    bench = shown[200:500].copy()
    whole = fit(side(bench), rows(shown))
    bench[77] ^= 4
    found = fit(side(bench), rows(shown))
    assert (found.best.offset, found.best.mismatches, found.best.wrong.tolist()) == (
        200,
        1,
        [0, 0, 1, 0, 0, 0, 0, 0],
    )
    assert found.bits == pytest.approx(whole.bits - WRONG, abs=4)


def test_what_a_hand_did_is_told_from_what_the_outputs_show() -> None:
    """Of a recording with an input its part alone is known and costs anything, and the clock is worth its share of the
    edges."""
    rng = np.random.default_rng(2)
    names = ("o0", "i3", "o1")
    rows = ReadRows(rng.integers(0, 8, 80).astype(np.uint8), np.full(80, 7, np.uint8), 1)
    at = Moments(names, ((0.5,),) * 3, ((0.5,),) * 3)
    recording = timed(at, rows, replace(steady(1.0), credit=6.0))
    inputs = recording.of_lines(0b010)
    assert inputs.rows.known.tolist() == [2] * 80
    assert (inputs.cost[1] == recording.cost[1]).all() and not inputs.cost[[0, 2]].any()
    moved = [int(np.count_nonzero(np.diff(rows.levels >> bit & 1))) for bit in range(3)]
    assert inputs.clock is not None
    assert inputs.clock.credit == pytest.approx(6.0 * moved[1] / sum(moved))
    assert inputs.handicap == -inputs.clock.credit
    still = timed(at, ReadRows(rows.levels * 0, rows.known, 1), replace(steady(1.0), credit=6.0))
    assert (clock := still.of_lines(0b010).clock) is not None and clock.credit == 6.0


def test_lines_that_rest_where_they_are_compared_prove_nothing() -> None:
    """Line o1 moves in the recording before the prediction begins, and never again; o2 moves where it is unsettled."""
    names = ("o0", "i3", "o1", "o2")
    levels = np.tile(np.array([3, 0], np.uint8), 20)
    levels[:6] ^= np.array([0, 4, 0, 4, 0, 0], np.uint8)
    levels[20:22] ^= np.array([8, 0], np.uint8)
    at = Moments(names, ((0.5,),) * 4, ((0.5,),) * 4)
    recording = timed(at, ReadRows(levels, np.full(40, 15, np.uint8), 1), steady(1.0))
    known = np.full(34, 15, np.uint8)
    known[14:16] = 7
    prediction = ReadRows(levels[6:], known, 1)
    assert recording.without_proof(prediction, -6) == 0b1110
    assert recording.without_proof(replace(prediction, known=np.full(34, 15, np.uint8)), -6) == 0b0110
    assert recording.without_proof(ReadRows(levels[2:], np.full(38, 15, np.uint8), 1), -2) == 0b0010
