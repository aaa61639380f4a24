"""Every action has its sentence for the person at the bench."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs.datasheet import Datasheet, Meaning, RestartLine, StepLine
from forelight.designs.procedures.instruction import Wording, instruction
from forelight.designs.procedures.procedure import parse

SHEET = Datasheet(
    "whistle",
    Path(),
    "Whistle",
    (),
    None,
    "amaranth",
    step=StepLine("i7", 750.0),
    restart=RestartLine("i6", "low"),
    lines={"i2": Meaning("mute", 0)},
)
QUAY = Wording(SHEET, {"i6": "RESTART", "i0": "PUSH"}, 750.0)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("select 12", "Turn the selector to slot 12."),
        (
            "strap 29",
            "With the step clock off, set the input switches i7 to i0 to 0 0 0 1 1 1 0 1 (code 29), switch the step"
            " clock on, then set the switches back as they were.",
        ),
        ("enable", "Switch the step clock on; the divider keeps the code that the input switches hold now."),
        ("disable", "Switch the step clock off."),
        ("oscillator off", "Switch the oscillator off."),
        ("set i3=0 i2=1", "Set switch i2 (mute) to 1 and switch i3 to 0 in one go."),
        ("set i3=0", "Set switch i3 to 0."),
        ("press i0", "Hold down button PUSH (i0)."),
        ("press i0 bouncing", "Hold down button PUSH (i0), whose contact touches several times."),
        (
            "drive i2=1",
            "With its switch open, drive line i2 (mute) to 1 from outside, through a resistor (around 1 kOhm) and at"
            " the board's own logic voltage.",
        ),
        (
            "drive i3=1 i2=0",
            "With their switches open, drive line i2 (mute) to 0 and line i3 to 1 from outside, through a resistor"
            " (around 1 kOhm) and at the board's own logic voltage.",
        ),
        ("let go i3 i2", "Take the outside source off line i2 (mute) and line i3."),
        ("play hands.csv", "Move the switches as they moved in hands.csv."),
        ("release i1", "Let go of the button on i1."),
        ("restart", "Hold the restart line i6 (button RESTART) low for 2 steps, then let go."),
        ("steps 1500", "Wait for 1500 steps, 2 s at 750 Hz."),
        ("frames 1", "Wait for 1 frame."),
        ("wait 250 ms", "Wait 0.25 s."),
        (
            "pulse 4",
            "With the step clock off, take the step line i7 to 1 and back to 0, 4 times, 2 in a second.",
        ),
        (
            "repeat 3 (press i0; wait 1 s; release i0)",
            "3 times: hold down button PUSH (i0); wait 1 s; let go of button PUSH (i0).",
        ),
    ],
)
def test_sentences_on_a_chain(text: str, sentence: str) -> None:
    assert instruction(parse([text])[0], QUAY) == sentence


def test_sentences_without_a_datasheet_or_on_a_direct_link() -> None:
    own = Datasheet("x", Path(), "X", (), None, "verilog", step=StepLine("own"), restart=RestartLine("own"))
    direct = Wording(own, strapped=False)
    said = {
        "strap 499999": "Set the step source to 499999 and switch the step clock on.",
        "enable": "Switch the step clock on.",
        "restart 1": "Hold the board's restart line high for 1 step, then let go.",
        "pulse 1": "With the step clock off, take the board's step line to 1 and back to 0, once, 2 in a second.",
        "steps 2": "Wait for 2 steps.",
    }
    assert {text: instruction(parse([text])[0], direct) for text in said} == said
    assert instruction(parse(["restart"])[0]) == "Hold the restart line active for 2 steps, then let go."


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("set i2=1", "Set switch A2 (i2, mute) to 1 (closed)."),
        ("set i3=1", "Set switch A3 (i3) to 1 (open)."),
        (
            "set i0=0 i1=0 i2=1 i3=0 i4=0 i5=0 i6=0 i7=0",
            "Set switch A2 (i2, mute) to 1 (closed) and all others to 0, in one go.",
        ),
        ("set i0=0 i1=0 i2=0 i3=0 i4=0 i5=0 i6=0 i7=0", "Set all eight switches to 0."),
        ("restart 3", "Hold the board's restart line CLEAR low for 3 steps, then let go."),
        (
            "pulse 2",
            "With the step clock off, take the step line A7 (i7) to 1 and back to 0, 2 times, 2 in a second.",
        ),
        ("frames 1500", "Wait for 1500 frames, 0.5 s."),
    ],
)
def test_sentences_with_the_labels_and_contacts_of_a_board(text: str, sentence: str) -> None:
    board = Wording(
        SHEET,
        pins={f"i{n}": f"A{n}" for n in range(8)} | {"restart": "CLEAR"},
        pulls=dict.fromkeys([f"i{n}" for n in range(8)], 0) | {"i3": 1},
        own=frozenset({"restart"}),
        frame_hz=3000.0,
    )
    assert instruction(parse([text])[0], board) == sentence


@pytest.mark.parametrize(("pull", "words"), [(0, "1 is closed and 0 open"), (1, "1 is open and 0 closed")])
def test_a_strap_says_how_the_switches_stand_where_all_pull_alike(pull: int, words: str) -> None:
    (action,) = parse(["strap 29"])
    wording = Wording(SHEET, pulls={f"i{bit}": pull for bit in range(8)})
    assert f"to 0 0 0 1 1 1 0 1 (code 29, {words}), " in instruction(action, wording)
    assert "(code 29), " in instruction(action, Wording(SHEET, pulls={"i0": pull}))
