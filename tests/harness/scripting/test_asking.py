"""Predictions, verdicts and coverage as programs ask for them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from forelight.harness.boards.reader import load_board
from forelight.harness.golden.read import read_golden
from forelight.harness.scripting.asking import check, predict
from forelight.harness.scripting.fault_coverage import coverage
from forelight.sim.errors import DatasheetError, ForelightError, UsageError

#: The bars of 0 to 9 as the SN74LS47 data sheet draws them, a the lowest bit; 6 and 9 with their bars.
DIGITS = [0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F]


def test_bits_are_steps_by_eight() -> None:
    found = predict("tide_gauge", steps=18, power_ups=8)
    assert found.bits.shape == (19, 8) and found.bits.dtype == np.uint8
    up_and_down = [*range(10), *range(8, -1, -1)]
    assert found.per_step().tolist() == [
        DIGITS[level] | (0x80 if step < 9 or step == 18 else 0) for step, level in enumerate(up_and_down)
    ]
    assert not found.bits.mask.any()
    assert (np.packbits(found.bits.filled(), axis=1, bitorder="little")[:, 0] == found.per_step()).all()


def test_seconds_are_those_of_the_step_clock() -> None:
    found = predict("tide_gauge", steps=18, power_ups=8)
    # Code 182 halves after (22 + 1) * 2**5 = 736 frames of 1/3000 s: a step lasts 0.490667 s.
    assert np.allclose(np.diff(found.seconds[1:]), 2 * 736 / 3000)
    assert found.seconds[0] == 0


def test_at_a_step_it_is_a_moment() -> None:
    found = predict("tide_gauge", steps=18, power_ups=8)
    assert [found.at(step).shown for step in (0, 4, 9, -1)] == ["0.", "4.", "9", "0."]
    assert found.at(4).levels == "11100110"
    with pytest.raises(UsageError, match="its steps are 0 to 18"):
        found.at(19)


def test_what_is_unsettled_is_masked() -> None:
    found = predict("nor_latch", power_ups=8)
    assert found.bits.mask.any() and found.at(0).levels.count("x") == 2


def test_plain_logic_has_a_row_for_each_change() -> None:
    found = predict("speed_time", run="six knots for seven hours", power_ups=8)
    assert int(found.per_step()[-1]) == 42
    assert len(found.bits) == len(found.seconds) == len(found.per_step())


def test_to_csv_is_what_the_command_writes(tmp_path: Path) -> None:
    found = predict("tide_gauge", steps=5, power_ups=8)
    text = found.to_csv(tmp_path / "tide.csv")
    assert (tmp_path / "tide.csv").read_bytes().decode() == text
    again = read_golden(tmp_path / "tide.csv")
    assert np.array_equal(again.outputs, found.outputs) and again.facts["power_ups"] == 8


def test_numbers_of_numpy_are_taken() -> None:
    plain = predict(101, steps=6, power_ups=8, levels={"i0": 1}, seed=3, hz=2)
    other = predict(
        np.int32(101),
        steps=np.uint8(6),
        power_ups=np.int64(8),
        levels={"i0": np.int8(1)},
        seed=np.uint16(3),
        hz=np.float32(2),
    )
    assert other.to_csv() == plain.to_csv() and dict(other.facts) == dict(plain.facts)
    done = predict("tide_gauge", do=[f"set i0={np.uint8(1)}", f"steps {np.int64(2)}"], power_ups=8)
    assert done.at(np.int64(-1)).step == 2


def test_a_board_made_in_code_is_checked() -> None:
    quay = load_board("quay")
    slow = replace(quay, name="slow", oscillator_hz=quay.oscillator_hz // 2)
    assert predict("tide_gauge", board=slow, steps=3, power_ups=8).board == "slow"
    with pytest.raises(DatasheetError, match="allowed: 1 to 96"):
        predict("tide_gauge", board=replace(quay, positions=96))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"steps": 3, "seconds": 1.0}, "contradict each other"),
        ({"steps": 0}, "give at least 1"),
        ({"run": "one tide", "do": ["steps 1"]}, "contradict each other"),
        ({"run": "one tide", "steps": 2}, "contradict each other"),
        ({"do": "steps 1"}, "give a list of actions"),
        ({"do": ["stepps 1"]}, 'did you mean "steps"?'),
        ({"run": "two tides"}, "has no run"),
        ({"levels": {"i9": 1}}, "i9"),
        ({"hz": -1.0}, "rate above 0 Hz"),
        ({"strap": 999}, "has no strap code 999"),
        ({"power_ups": 0}, "give at least 1"),
        ({"level": {"i0": 1}}, 'did you mean "levels"?'),
        ({"inputs": {"i0": 1}}, "found inputs beside the design; what may be said: board, run, do"),
    ],
)
def test_wrong_use_is_one_clear_error(asked: dict[str, Any], said: str) -> None:
    with pytest.raises(ForelightError) as error:
        predict("tide_gauge", **asked)
    assert said in str(error.value)


def test_a_recording_is_judged(tmp_path: Path) -> None:
    seen = tmp_path / "seen.csv"
    digits = [*(f"{n}." for n in range(9)), *map(str, range(9, 0, -1)), *(f"{n}." for n in range(9))]
    seen.write_text("shown\n" + "\n".join(digits) + "\n")
    foretold = predict("tide_gauge", steps=60, power_ups=8)
    assert check(foretold, seen).kind == "agrees"
    wrong = [*digits[:5], "3.", *digits[6:]]
    seen.write_text("shown\n" + "\n".join(wrong) + "\n")
    assert check("tide_gauge", seen, steps=60, power_ups=8).kind == "differs"


def test_coverage_of_a_run_that_tries_more_is_higher() -> None:
    little = coverage("tide_gauge", steps=2, power_ups=4)
    more = coverage("tide_gauge", run="one tide", power_ups=4)
    assert 0 < little.revealed < more.revealed < more.faults == little.faults == more.tried
    assert more.possible - more.revealed == len(more.missed)
    # Nothing reads i5, so that nothing can show it stuck.
    assert {"i5 stuck at 0", "i5 stuck at 1"} <= set(map(str, more.hopeless))


def test_coverage_of_an_and_gate_is_what_can_be_counted_by_hand(tmp_path: Path) -> None:
    (tmp_path / "gate.v").write_text(
        "module gate(input [7:0] inputs, output [7:0] outputs);\n"
        "  assign outputs = {7'b0, inputs[0] & inputs[1]};\nendmodule\n"
    )
    # With 1 on both inputs each line is tried for stuck at 0; 0 1 and 1 0 try each input for stuck at 1.
    gate, wait = str(tmp_path / "gate.v"), "wait 1 s"
    both = coverage(gate, do=["set i0=1 i1=1", wait, "set i0=0 i1=0", wait], power_ups=4)
    more = coverage(gate, do=["set i0=1 i1=1", wait, "set i0=0", wait, "set i0=1 i1=0", wait], power_ups=4)
    assert {str(one) for one in both.missed} == {"i0 stuck at 1", "i1 stuck at 1"}
    assert not more.missed and more.share == 1


def test_coverage_counts_settled_bits_alone() -> None:
    """Without a restart nothing of a counter is settled, and in its whole period it may begin anywhere."""
    assert coverage("free_counter", steps=4, power_ups=8).revealed == 0
    with pytest.raises(UsageError, match="begin anywhere"):
        coverage("free_counter", steps=600, power_ups=8)
