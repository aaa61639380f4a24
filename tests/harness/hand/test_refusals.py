"""What the hand does not do: drive a line that has a source, or wait for what never comes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from forelight.designs.datasheet import Datasheet, StepLine
from forelight.designs.procedures.procedure import parse
from forelight.harness.hand.routine import check_on
from forelight.sim.errors import DatasheetError, UsageError

from .hand_plans import CHAIN, DIRECT, SHEET, plan

FIGHT = "two sources on one line would fight, and either can be damaged: the board's own documents come first"


@pytest.mark.parametrize(
    ("actions", "message"),
    [
        (
            ["set i3=1", "drive i3=1"],
            f'"drive i3=1": the switch of i3 is closed; {FIGHT}; write set i3=0 before',
        ),
        (["drive i1=1"], f'"drive i1=1": the switch of i1 is closed; {FIGHT}; write set i1=1 before'),
        (["strap 3", "drive i7=1"], f'"drive i7=1": the step clock drives i7; {FIGHT}; write disable before'),
        (
            ["press i0", "drive i0=1"],
            f'"drive i0=1": the button on i0 is held; {FIGHT}; write release i0 before',
        ),
        (
            ["drive i0=1", "press i0"],
            f'"press i0": i0 is driven from outside; {FIGHT}; write let go i0 before',
        ),
        (["drive i6=1", "restart"], f'"restart": i6 is driven from outside; {FIGHT}; write let go i6 before'),
        (["drive i3=1", "strap 3"], f'"strap 3": i3 is driven from outside; {FIGHT}; write let go i3 before'),
    ],
)
def test_two_drivers_on_a_line_are_refused(actions: list[str], message: str) -> None:
    with pytest.raises(UsageError) as caught:
        plan(*actions, board=replace(CHAIN, pulls={"i1": 1}))
    assert str(caught.value) == message


PLAIN = replace(SHEET, step=None, restart=None)
OTHER = replace(SHEET, step=StepLine("i3"))


@pytest.mark.parametrize(
    ("sheet", "actions", "message"),
    [
        (SHEET, ["select 3"], '"select 3": there is no slot 3; the slots are 0 to 2'),
        (SHEET, ["strap 256"], '"strap 256": there is no strap code 256; the codes are 0 to 255'),
        (SHEET, ["press i3"], '"press i3": no button sits on i3; lines with buttons: i0, i7; or use set'),
        (
            SHEET,
            ["press i0", "press i0"],
            '"press i0": the button is held already; write release i0 before',
        ),
        (SHEET, ["release i0"], '"release i0": the button is not held; write press i0 before'),
        (SHEET, ["let go i2"], '"let go i2": nothing drives i2 from outside; write drive i2=1 before'),
        (
            SHEET,
            ["steps 5"],
            '"steps 5": the step clock is off; write strap or enable before, or use pulse',
        ),
        (
            SHEET,
            ["oscillator off", "frames 5"],
            '"frames 5": nothing moves while the oscillator is off; write oscillator on before',
        ),
        (
            SHEET,
            ["oscillator off", "pulse 1"],
            '"pulse 1": nothing moves while the oscillator is off; write oscillator on before',
        ),
        (
            SHEET,
            ["strap 3", "pulse 5"],
            '"pulse 5": the step clock is on; write disable before, or use steps',
        ),
        (
            SHEET,
            ["strap 3", "set i7=1"],
            '"set i7=1": the step clock drives i7; write disable before, or leave it out',
        ),
        (
            OTHER,
            ["strap 3", "steps 5"],
            '"steps 5": the step clock does not reach i3, the step line of own; make steps by hand with pulse',
        ),
        (
            PLAIN,
            ["restart"],
            '"restart": own has no restart line; leave it out, or state [restart]',
        ),
        (
            PLAIN,
            ["strap 3"],
            '"strap 3": own has no step line; use frames or wait, or state [step]',
        ),
        (
            SHEET,
            ["strap 0", "steps 40000000"],
            "the procedure comes to 80000004 changes of the lines; "
            "at most 67108864 are kept; make it shorter, or step slower",
        ),
    ],
)
def test_what_cannot_be_carried_out(sheet: Datasheet, actions: list[str], message: str) -> None:
    with pytest.raises(UsageError) as caught:
        plan(*actions, sheet=sheet)
    assert str(caught.value) == message


def test_a_procedure_that_time_cannot_count() -> None:
    slow = replace(CHAIN, positions=65536, ticks_per_bit=65536)
    with pytest.raises(UsageError) as caught:
        plan("frames 1000000000", board=slow)
    assert str(caught.value) == "the procedure comes to 1000000000 frames of small; make it shorter"


def test_only_a_chain_waits_for_its_oscillator() -> None:
    actions = parse(["oscillator off", "restart"])
    check_on(DIRECT, SHEET, actions, "here", slot=0)
    with pytest.raises(DatasheetError, match="nothing moves while the oscillator is off"):
        check_on(CHAIN, SHEET, actions, "here", slot=0)
