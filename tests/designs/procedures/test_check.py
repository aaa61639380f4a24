"""What cannot be done on a design, or on a board, is refused before anything runs."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs.datasheet import Datasheet, RestartLine, StepLine
from forelight.designs.procedures.check import check, clocked_at_start
from forelight.designs.procedures.procedure import parse
from forelight.sim.errors import DatasheetError

CLOCKED = Datasheet(
    "whistle", Path(), "Whistle", (), None, "amaranth", step=StepLine("i7"), restart=RestartLine("i6")
)
PLAIN = Datasheet("vote", Path(), "Vote", (), None, "verilog")


@pytest.mark.parametrize(
    ("sheet", "texts", "message"),
    [
        (
            CLOCKED,
            ["steps 3", "set i7=1"],
            'f, action 2: "set i7=1": the step clock drives i7; write disable before',
        ),
        (CLOCKED, ["set i2=1 i7=0"], 'f, action 1: "set i2=1 i7=0": the step clock drives i7;'),
        (CLOCKED, ["press i7"], 'f, action 1: "press i7": the step clock drives i7;'),
        (
            CLOCKED,
            ["strap 29", "pulse 1"],
            'f, action 2: "pulse 1": the step clock is on; write disable before, or',
        ),
        (
            CLOCKED,
            ["disable", "steps 1"],
            'f, action 2: "steps 1": the step clock is off; write strap or enable',
        ),
        (CLOCKED, ["pulse 1", "steps 1"], 'f, action 2: "steps 1": the step clock is off;'),
        (
            CLOCKED,
            ["oscillator off", "steps 1"],
            'f, action 2: "steps 1": nothing moves while the oscillator is off;',
        ),
        (
            CLOCKED,
            ["oscillator off", "frames 1"],
            'f, action 2: "frames 1": nothing moves while the oscillator is off;',
        ),
        (
            CLOCKED,
            ["press i6", "press i6"],
            'f, action 2: "press i6": the button is held already; write release i6',
        ),
        (CLOCKED, ["release i6"], 'f, action 1: "release i6": the button is not held; write press i6 before'),
        (
            CLOCKED,
            ["repeat 2 (enable; set i0=1; set i7=1; disable)"],
            'f, action 1.3: "set i7=1": the step clock',
        ),
        (
            CLOCKED,
            ["disable", "repeat 2 (set i7=1; enable)"],
            'f, action 2.1: "set i7=1": the step clock drives i7',
        ),
        (
            CLOCKED,
            ["set i2=1", "drive i2=1"],
            'f, action 2: "drive i2=1": the switch of i2 is closed; two sources on one line would fight, and either '
            "can be damaged: the board's own documents come first; write set i2=0 before",
        ),
        (
            CLOCKED,
            ["drive i3=0 i7=1"],
            'f, action 1: "drive i3=0 i7=1": the step clock drives i7; two sources',
        ),
        (
            CLOCKED,
            ["press i0", "drive i0=1"],
            'f, action 2: "drive i0=1": the button on i0 is held; two sources',
        ),
        (
            CLOCKED,
            ["drive i2=1", "set i2=1"],
            'f, action 2: "set i2=1": i2 is driven from outside; two sources',
        ),
        (
            CLOCKED,
            ["drive i0=1", "press i0"],
            'f, action 2: "press i0": i0 is driven from outside; two sources',
        ),
        (
            CLOCKED,
            ["drive i0=1", "strap 3"],
            'f, action 2: "strap 3": i0 is driven from outside; two sources',
        ),
        (
            CLOCKED,
            ["drive i6=0", "restart"],
            'f, action 2: "restart": i6 is driven from outside; two sources',
        ),
        (
            CLOCKED,
            ["disable", "drive i7=1", "enable"],
            'f, action 3: "enable": i7 is driven from outside; two',
        ),
        (
            CLOCKED,
            ["disable", "drive i7=1", "pulse 1"],
            'f, action 3: "pulse 1": i7 is driven from outside; two',
        ),
        (
            CLOCKED,
            ["let go i2"],
            'f, action 1: "let go i2": nothing drives i2 from outside; write drive i2=1 before',
        ),
        (
            CLOCKED,
            ["repeat 2 (drive i2=1; set i3=1)", "let go i2", "set i2=1", "drive i2=0"],
            'f, action 4: "drive i2=0": the switch of i2 is closed;',
        ),
        (CLOCKED, ["repeat 3 (press i0)"], 'f, action 1.1: "press i0": the button is held already;'),
        (
            PLAIN,
            ["restart"],
            'f, action 1: "restart": vote has no restart line; leave it out, or state [restart]',
        ),
        (
            PLAIN,
            ["steps 1"],
            'f, action 1: "steps 1": vote has no step line; use frames or wait, or state [step]',
        ),
        (PLAIN, ["pulse 1"], 'f, action 1: "pulse 1": vote has no step line;'),
        (PLAIN, ["enable"], 'f, action 1: "enable": vote has no step line;'),
    ],
)
def test_what_cannot_be_done_on_a_design(sheet: Datasheet, texts: list[str], message: str) -> None:
    with pytest.raises(DatasheetError) as error:
        check(parse(texts), sheet, "f")
    assert str(error.value).startswith(message)


@pytest.mark.parametrize(
    ("sheet", "texts"),
    [
        (CLOCKED, ["restart", "steps 5", "disable", "set i7=1", "pulse 2", "enable", "steps 1"]),
        (CLOCKED, ["set i7=1", "strap 29", "steps 4"]),
        (CLOCKED, ["repeat 3 (press i6; wait 1 s; release i6)"]),
        (CLOCKED, ["oscillator off", "wait 1 s", "oscillator on", "frames 2"]),
        (CLOCKED, ["steps 3", "select 4", "set i7=1", "wait 1 s"]),
        (PLAIN, ["set i0=1 i7=1", "frames 3", "press i7", "wait 1 s", "release i7"]),
    ],
)
def test_what_can_be_done_passes(sheet: Datasheet, texts: list[str]) -> None:
    check(parse(texts), sheet, "f")


def test_the_boards_numbers_count_where_they_are_given() -> None:
    for texts, message in (
        (["select 192"], "there is no slot 192; the slots are 0 to 191"),
        (["strap 256"], "there is no strap code 256; the codes are 0 to 255"),
    ):
        check(parse(texts), CLOCKED)
        with pytest.raises(DatasheetError, match=message):
            check(parse(texts), CLOCKED, slot_count=192, codes=256)
    with pytest.raises(DatasheetError, match="no button sits on i1; lines with buttons: i0, i6; or use set"):
        check(parse(["press i1"]), CLOCKED, buttons={"i6": "RESTART", "i0": "PUSH"})


def test_another_slots_design_has_other_rules() -> None:
    texts = ["select 9", "set i7=1", "select 7", "set i7=1"]
    with pytest.raises(DatasheetError, match="action 4"):
        check(parse(texts), CLOCKED, slot=7)


@pytest.mark.parametrize(
    ("texts", "clocked"),
    [
        ([], True),
        (["restart", "wait 1 s"], True),
        (["steps 3", "pulse 1"], True),
        (["disable", "pulse 1"], True),
        (["set i0=1", "pulse 1"], False),
        (["set i0=1", "strap 3"], False),
        (["repeat 2 (set i0=1; pulse 3)", "steps 1"], False),
    ],
)
def test_the_step_clock_runs_at_first_unless_the_procedure_sees_to_it(
    texts: list[str], clocked: bool
) -> None:
    assert clocked_at_start(parse(texts)) is clocked
