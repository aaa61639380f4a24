"""Which actions bring a slot up, restart it and let it run, on either kind of board."""

from __future__ import annotations

from dataclasses import replace

import pytest
from forelight.designs.datasheet import Attachment, Meaning, RestartLine, Run, StepLine
from forelight.designs.procedures.procedure import parse, to_text
from forelight.harness.hand.routine import (
    bring_up,
    default_procedure,
    divides,
    made_by_hand,
    run_procedure,
    strap_code,
)
from forelight.sim.errors import DatasheetError, UsageError

from .hand_plans import CHAIN, DIRECT, SHEET, plan, rises

PLAIN = replace(SHEET, step=None, restart=None)
IDLE = "set i0=0 i1=0 i2=0 i3=0 i4=0 i5=0 i6=0 i7=0"


def texts(actions: object) -> list[str]:
    return [to_text(action) for action in actions]  # type: ignore[attr-defined]


def test_a_slot_is_selected_its_inputs_put_at_rest_and_strapped() -> None:
    # 1000 frames a second: code 49 is 1000 / (2 * 50) = 10 steps a second, where nobody wants another rate.
    assert texts(bring_up(CHAIN, SHEET, slot=2)) == ["select 2", IDLE, "strap 49"]
    assert texts(bring_up(CHAIN, SHEET)) == [IDLE, "strap 49"]
    assert texts(bring_up(CHAIN, SHEET, clocked=False)) == [IDLE]
    assert texts(bring_up(CHAIN, PLAIN)) == [IDLE]


def test_idle_levels_what_is_said_and_lines_that_something_drives() -> None:
    sheet = replace(SHEET, lines={"i2": Meaning("gate", 1)}, restart=RestartLine("i6", "low"))
    (found, _) = bring_up(CHAIN, sheet, levels={"i0": 1, "i2": 0})
    assert to_text(found) == "set i0=1 i1=0 i2=0 i3=0 i4=0 i5=0 i6=1 i7=0"
    memory = Attachment(
        "serial memory", {"cs": "o0", "sck": "o1", "si": "o2", "so": "i3"}, {"image": "a.bin"}
    )
    pulled = replace(CHAIN, pulls={"i3": 1, "i4": 1})
    (found, _) = bring_up(pulled, replace(SHEET, attach=(memory,)))
    assert to_text(found) == "set i0=0 i1=0 i2=0 i3=1 i4=0 i5=0 i6=0 i7=0"  # the switch of i3 stays open


def test_the_code_as_given_or_nearest_to_the_rate_as_asked_or_wanted() -> None:
    wants = replace(SHEET, step=StepLine("i7", 100.0))
    assert strap_code(CHAIN, wants) == 4  # 1000 / (2 * 5) = 100
    assert strap_code(CHAIN, wants, hz=250) == 1  # 1000 / (2 * 2)
    assert strap_code(CHAIN, wants, hz=250, code=77) == 77
    assert strap_code(CHAIN, wants, code=0) == 0
    assert strap_code(CHAIN, PLAIN) == 49


@pytest.mark.parametrize(
    ("board", "step", "found"),
    [
        (CHAIN, "i7", True),
        (CHAIN, "i0", False),  # the divider drives i7
        (DIRECT, "own", True),
        (DIRECT, "i7", True),  # such a board leads its own step line there
        (DIRECT, "i2", True),
    ],
)
def test_whether_the_divider_drives_the_step_line(board: object, step: str, found: bool) -> None:
    sheet = replace(SHEET, step=StepLine(step), restart=None)
    assert divides(board, sheet) is found  # type: ignore[arg-type]
    assert not divides(board, PLAIN)  # type: ignore[arg-type]
    assert ("strap" in " ".join(texts(bring_up(board, sheet)))) is found  # type: ignore[arg-type]


def test_the_usual_run_ends_just_before_the_next_rise() -> None:
    for board in (CHAIN, DIRECT):
        sheet = replace(SHEET, step=StepLine("own"), restart=RestartLine("own")) if board is DIRECT else SHEET
        step = 8 if board is DIRECT else 7
        for code in (1, 4, 9):  # at code 0 a rise falls into the move that lets go
            usual = default_procedure(board, sheet, code=code, steps=3)
            assert usual.name == "default"
            found = plan(*texts(usual.actions), board=board, sheet=sheet)
            longer = plan(*texts((*usual.actions, *parse(["frames 1"]))), board=board, sheet=sheet)
            assert len(rises(found, step)) == 2 + 3  # two under restart
            assert len(rises(longer, step)) == 2 + 3 + 1


def test_steps_by_hand_and_a_look_of_a_second() -> None:
    elsewhere = replace(SHEET, step=StepLine("i0"))
    assert texts(default_procedure(CHAIN, elsewhere, steps=4).actions) == [IDLE, "restart", "pulse 4"]
    assert texts(default_procedure(CHAIN, PLAIN).actions) == [IDLE, "wait 1.0 s"]
    assert texts(default_procedure(CHAIN, replace(SHEET, restart=None), code=0, steps=5).actions) == [
        *(IDLE, "strap 0", "steps 5")
    ]


def test_a_run_is_brought_up_and_strapped_unless_it_sees_to_that_itself() -> None:
    sheet = replace(
        SHEET,
        runs=(
            Run("a", ("steps 2",), "two"),
            Run("b", ("strap 3", "steps 2")),
            Run("c", ("press i3",), places=("sheet.toml:9",)),
        ),
    )
    found = run_procedure(CHAIN, sheet, "a", slot=1, code=7, levels={"i1": 1})
    assert (found.name, found.expect) == ("a", "two")
    assert texts(found.actions) == ["select 1", IDLE.replace("i1=0", "i1=1"), "strap 7", "steps 2"]
    assert texts(run_procedure(CHAIN, sheet, "b").actions) == [IDLE, "strap 3", "steps 2"]
    with pytest.raises(DatasheetError, match=r"sheet\.toml:9, action 1: .*i3"):
        run_procedure(CHAIN, sheet, "c")  # there is no button on i3
    with pytest.raises(UsageError, match='has no run "d"'):
        run_procedure(CHAIN, sheet, "d")


def test_a_run_is_of_a_hundred_steps_unless_said() -> None:
    assert "steps 100" in texts(default_procedure(CHAIN, SHEET).actions)
    assert "steps 7" in texts(default_procedure(CHAIN, SHEET, steps=7).actions)


def test_steps_are_made_by_hand_where_nothing_else_makes_any() -> None:
    assert made_by_hand(parse(("select 2", "restart", "pulse 4 at 10 Hz")))
    assert made_by_hand(default_procedure(CHAIN, replace(SHEET, step=StepLine("i3", None)), slot=2).actions)
    assert not made_by_hand(parse(("strap 3", "steps 4", "disable", "pulse 4")))
    assert not made_by_hand(parse(("select 2", "wait 1 s")))
