"""A board made in code is checked as one in TOML, and written as TOML that reads back to the same."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from forelight.harness.boards.profile import Board
from forelight.harness.boards.reader import load_board, read_board
from forelight.harness.boards.writer import to_toml, write_board
from forelight.sim.errors import DatasheetError

QUAY, MOLE = load_board("quay"), load_board("mole")


@pytest.mark.parametrize("board", [QUAY, MOLE], ids=["quay", "mole"])
def test_written_and_read_it_is_the_same(board: Board, tmp_path: Path) -> None:
    path = tmp_path / f"{board.name}.toml"
    write_board(board, path)
    assert replace(read_board(path), path=board.path) == board
    assert load_board(board) == board


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"positions": 96}, "slot_count: 192 does not fit; allowed: 1 to 96, the positions of the chain"),
        ({"title": ""}, 'title: "" does not fit'),
        ({"oscillator_hz": 0}, "oscillator_hz: 0 does not fit; allowed: a whole number from 1"),
        ({"oscillator_hz": 1.5}, "oscillator_hz: 1.5 does not fit"),
        ({"law": "three-stage"}, 'step.law: "three-stage" does not fit; allowed: counter, two-stage'),
        ({"step_line": "o0"}, 'step.line: "o0" does not fit'),
        ({"restart_line": "i7"}, "i7 is the step line too"),
        ({"display": {"o0": "a", "o1": "a"}}, "segment a has a line already"),
        ({"pulls": {"i0": 2}}, "pulls.i0: 2 does not fit"),
        ({"slots": {5: "dise"}}, 'did you mean "dice"?'),
        ({"debounce": {"i3": 4}}, "no button sits on i3"),
        ({"codes": 9}, "step.settings: is for a direct link"),
        ({"pins": {"i0": "A\x07"}}, "control character"),
    ],
)
def test_what_is_wrong_is_said_as_of_a_file(wrong: dict[str, object], said: str, tmp_path: Path) -> None:
    board = replace(QUAY, name="mine", **wrong)  # type: ignore[arg-type]
    with pytest.raises(DatasheetError) as in_code:
        load_board(board)
    assert said in str(in_code.value)
    # The very words of a file with the same in it, but for its place.
    path = tmp_path / "mine.toml"
    path.write_text(to_toml(board), "utf-8")
    with pytest.raises(DatasheetError) as in_file:
        read_board(path)
    assert (in_file.value.what, in_file.value.remedy) == (in_code.value.what, in_code.value.remedy)


def test_numbers_of_numpy_become_plain_ones() -> None:
    other: dict[str, Any] = {
        "oscillator_hz": np.int64(18_432_000),
        "slots": {np.uint8(3): "dice"},
        "pulls": {"i0": np.uint8(1)},
    }
    board = replace(QUAY, **other)
    found = load_board(board)
    assert type(found.oscillator_hz) is int and found.slots == {3: "dice"} and type(found.pulls["i0"]) is int
