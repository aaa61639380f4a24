"""`forelight count`: what a count by eye says about the step rate."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from forelight.harness.boards.profile import Board
from forelight.harness.cli import cli
from forelight.harness.commands.count import Count, period
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE

BOARD = """title = "A board with the counter law"
link = "chain"
oscillator_hz = 12_000_000
slot_count = 125
[chain]
positions = 125
ticks_per_bit = 3
[step]
line = "i7"
law = "counter"
[restart]
line = "i6"
[slots]
7 = "tide_gauge"
"""


def ask(*arguments: str, code: int = 0) -> Result:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(cli, ("count", *arguments))
    assert result.exit_code == code, result.output
    return result


def test_a_loop_of_16_states_counted_37_times_in_a_minute() -> None:
    """12 MHz, 125 positions, 3 ticks a bit, counter law: code 199 makes 10 steps a second, so 37.5 loops in 60 s."""
    board = Board("counter", "", 12_000_000, "chain", {}, 125, 125, 3, "counter")
    assert board.step_hz(199) == 10
    count = Count(37, 60.0, 16)
    assert count.verdict(10.0) == AGREES
    assert count.verdict(float(board.step_hz(127))) == DIFFERS
    # A loop more or less, and a quarter of a second at either end.
    assert (count.low_hz, count.hz, count.high_hz) == pytest.approx(
        (36 * 16 / 60.5, 37 * 16 / 60, 38 * 16 / 59.5)
    )


def test_the_same_from_the_command_line(tmp_path: Path) -> None:
    file = tmp_path / "counter.toml"
    file.write_text(BOARD)
    arguments = (
        "7",
        "--board",
        str(file),
        "--steps-per-loop",
        "16",
        "--loops",
        "37",
        "--seconds",
        "60",
        "--json",
    )
    found = json.loads(ask(*arguments, "--strap", "199").stdout)
    assert (found["verdict"], found["code_ranges"]) == ("agrees", [[195, 209]])
    found = json.loads(ask(*arguments, "--strap", "127", code=1).stdout)
    assert (found["verdict"], found["code_ranges"]) == ("differs", [[195, 209]])


def test_the_loop_is_found_in_the_prediction() -> None:
    """The tide gauge goes from 0 to 9 and back, which is 18 steps; code 182 of quay makes 2.038 of them a second."""
    said = " ".join(ask("tide_gauge", "--loops", "6", "--seconds", "53").output.split())
    assert said.startswith(
        "Agrees: 6 loops of Tide gauge in 53 s; 6.001 are foretold. A loop is 18 steps, as foretold."
    )
    assert "The count means 2.038 steps a second." in said
    assert "strap code 182 gives 2.03804 Hz." in said
    said = " ".join(ask("tide_gauge", "--loops", "12", "--seconds", "53", code=1).output.split())
    assert said.startswith("Differs: 12 loops")
    assert "Look at the switches" in said


def test_one_loop_says_next_to_nothing() -> None:
    """A period counted as 1 is off by 100 % (plus or minus one: Hewlett-Packard, Application Note 200; from memory)."""
    said = " ".join(ask("tide_gauge", "--loops", "1", "--seconds", "9", code=3).output.split())
    assert said.startswith("Inconclusive: 1 loop of")
    assert "Count 4 loops or more." in said
    assert Count(4, 36.0, 18).factor < 2 <= Count(3, 27.0, 18).factor
    assert Count(1, 9.0, 18).verdict(2.0) == INCONCLUSIVE


def test_a_step_source_with_millions_of_settings_is_told_in_short() -> None:
    found = json.loads(
        ask("tide_gauge", "--board", "mole", "--loops", "6", "--seconds", "53", "--json").stdout
    )
    ((first, last),) = found["code_ranges"]
    assert 25e6 / (last + 1) >= found["low_hz"] > 25e6 / (last + 2)
    assert 25e6 / (first + 1) <= found["high_hz"] < 25e6 / first
    said = " ".join(ask("tide_gauge", "--board", "mole", "--loops", "6", "--seconds", "53").output.split())
    assert f"Settings of the step source {first} to {last} would fit the count." in said


def test_the_uncertainty_covers_what_a_person_can_do_wrong() -> None:
    """Counts of a true rate by a person who misses up to a loop and presses up to a quarter of a second late."""
    rng = np.random.default_rng(11)
    print("seed 11")
    for _ in range(2000):
        hz, loop = float(rng.uniform(0.5, 50)), int(rng.integers(2, 40))
        began, length = rng.uniform(0, 10), rng.uniform(5, 100)
        loops = int(np.floor((began + length) * hz / loop) - np.floor(began * hz / loop))
        late = rng.uniform(0, 0.25, 2)
        if loops:
            assert Count(loops, float(length + late[1] - late[0]), loop).fits(hz)


def test_the_period_of_a_sequence() -> None:
    rng = np.random.default_rng(12)
    print("seed 12")
    for length in (2, 3, 17, 250):
        loop = rng.permutation(256)[:length].astype(np.uint8)
        shown = np.concatenate([rng.integers(0, 256, 40).astype(np.uint8), np.resize(loop, 8 * length + 100)])
        assert period(shown) == length
    assert period(np.zeros(50, np.uint8)) == 1
    assert period(rng.integers(0, 256, 500).astype(np.uint8)) is None


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("tide_gauge", "--loops", "3", "--seconds", "0.5"), "no longer than a reaction at both ends"),
        (("hex_segments", "--loops", "3", "--seconds", "20"), "has no step clock"),
        (("load_counter", "--loops", "3", "--seconds", "20"), "keep still in the end"),
        (("ferry_whistle", "--loops", "3", "--seconds", "20"), "say what you counted with --steps-per-loop"),
        (("tide_gauge", "--loops", "0", "--seconds", "20"), "--loops"),
    ],
)
def test_what_cannot_be_counted_is_2(arguments: tuple[str, ...], said: str) -> None:
    assert said in ask(*arguments, code=2).stderr
