"""How a switch stands on boards that pull down and up, and levels on lines that something else moves."""

from __future__ import annotations

from dataclasses import replace

import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Drive, Set, Strap
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import bring_up
from forelight.harness.hand.switches import contact_of, driven_from_outside, moved_otherwise, standing


@pytest.mark.parametrize(("pull", "low", "high"), [(0, "open", "closed"), (1, "closed", "open")])
def test_an_open_switch_leaves_its_line_to_the_pull(pull: int, low: str, high: str) -> None:
    board = replace(load_board("quay"), pulls={"i3": pull})
    assert contact_of(board, "i3", 0) == low
    assert contact_of(board, "i3", 1) == high


def test_a_line_that_a_memory_drives_is_named_with_the_caution() -> None:
    board, sheet = load_board("quay"), load_design("chart_reader")
    (said,) = driven_from_outside(sheet)
    assert said.startswith("What is wired to i0 drives it: leave its switch open") and "damaged" in said
    (closed,) = moved_otherwise(board, sheet, {"i0": 1 - board.pulls.get("i0", 0)}, clocked=True)
    assert "a line that is driven" in closed and "damaged" in closed
    assert list(moved_otherwise(board, sheet, {"i0": board.pulls.get("i0", 0)}, clocked=True)) == []


def test_where_a_sender_may_be_wired_the_switch_stays_open() -> None:
    board, sheet = load_board("quay"), load_design("listening_post")
    (said,) = driven_from_outside(sheet)
    assert said.startswith("Where a sender is wired to i0, leave its switch open") and "damaged" in said
    closed, strapped, sends = bring_up(board, sheet)
    assert (
        isinstance(closed, Set) and closed.levels["i0"] == board.pulls["i0"] and isinstance(strapped, Strap)
    )
    assert sends == Drive({"i0": 1})  # a line in 8N1 rests high
    (said,) = moved_otherwise(board, sheet, {"i0": 1}, clocked=True)
    assert said.startswith("i0 = 1 would close a switch on a line that is driven")


def test_switches_that_stand_alike_are_said_together() -> None:
    board = replace(load_board("quay"), pulls={"i0": 1, "i1": 0})
    assert standing(board, {"i2": 1, "i1": 1, "i0": 1}) == "i2 at 1; i1 at 1 (closed); i0 at 1 (open)"
    mole = load_board("mole")
    assert standing(mole, {"i1": 0, "i0": 0, "i2": 1}) == "i1, i0 at 0 (closed); i2 at 1 (open)"


def test_what_becomes_of_levels_on_the_restart_and_the_step_clock_is_said() -> None:
    board, sheet = load_board("quay"), load_design("tide_gauge")
    assert sheet.restart is not None and sheet.step is not None
    held, left = (list(moved_otherwise(board, sheet, {sheet.restart.line: n}, clocked=True)) for n in (1, 0))
    assert "holds the design in restart" in held[0] and "where the restart leaves it" in left[0]
    (clock,) = moved_otherwise(board, sheet, {sheet.step.line: 1}, clocked=True)
    assert "the clock drives i7" in clock
    assert list(moved_otherwise(board, sheet, {sheet.step.line: 1}, clocked=False)) == []
