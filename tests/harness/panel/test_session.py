"""What is said at the panel: actions and refusals, the list, and the files that it is kept in."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.designs.procedures.procedure import load_toml, parse, to_text
from forelight.harness.cli import cli
from forelight.harness.panel.session import completions, linked, pressed, toggled

from .sessions import session_on


def test_one_step_by_hand_and_why_the_display_stands() -> None:
    session = session_on("tide_gauge", "disable", "restart")
    assert session.say("pulse 1").lines[-2:] == (
        "0.504 s, step 4. Display: 1 and the point. Outputs o7 to o0: 10000110.",
        "Step clock off: i7 is stepped by hand. Restart on i6 not held.",
    )
    session.say("set i0=1")
    session.say("enable")
    told = session.say("wait 20 s")
    assert told.lines[-1].endswith("Nothing moves: i0 holds it.")


def test_each_line_says_who_drives_it() -> None:
    session = session_on("tide_gauge", "set i1=1", "drive i2=1", "press i0")
    rows = {row.split()[1]: row for row in session.lines()}
    for line, said in (
        ("i0", "1  button held     hold"),
        ("i1", "1  switch closed"),
        ("i2", "1  outside"),
        ("i3", "0  switch open"),
        ("i7", "step clock      step"),
        ("o7", "?"),
    ):
        assert said in rows[line]
    mole = session_on("lighthouse", board="mole")
    # Open is 1 on this board, by its pulls.
    assert mole.lines()[0].startswith("BOLLARD  i0  0  switch closed   character, bit 0")
    assert "STEP     i7" in mole.lines()[7] and "step clock" in mole.lines()[7]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("set i7=1", 'Refused: "set i7=1": the step clock drives i7; write disable before, or leave it out'),
        ("press i3", 'Refused: "press i3": no button sits on i3'),
        ("fly", '"fly": no such action; you can say cautions,'),
        ("set i9=1", "set i9=1"),
        ("edit 7 set i0=1", "there is no action 7; `list` says their numbers"),
        ("save", "save where?; write save FILE"),
        ("play hands.csv", "a recording is not played here"),
    ],
)
def test_what_cannot_be_done_is_said_and_changes_nothing(said: str, words: str) -> None:
    session = session_on("tide_gauge", "restart")
    told = session.say(said)
    assert told.refused and words in told.lines[0]
    assert [to_text(action) for action in session.actions] == ["restart"]


def test_the_list_is_edited_replayed_and_taken_back() -> None:
    session = session_on("tide_gauge", "restart", "set i0=1", "steps 3")
    assert "step 6" in session.say("drop 2").lines[1] and "Display: 3" in session.look()[0]
    session.say("edit 2 steps 5")
    assert "Display: 5" in session.look()[0]
    refused = session.say("edit 1 press i3")
    assert refused.refused and session.listed() == ("1. restart", "2. steps 5")
    before = session.look()
    session.say("replay")
    assert session.look() == before
    session.say("undo")
    session.say("undo")
    assert session.say("undo").lines == ("There is nothing to take back: the slot has only been brought up.",)


def test_the_list_is_on_disk_after_each_action(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORELIGHT_STATE", str(tmp_path))
    session = session_on("tide_gauge", "restart", "steps 4", keep=True)
    assert session.kept == tmp_path / "panel-tide_gauge.toml"
    assert load_toml(session.kept).actions == parse(["restart", "steps 4"])
    session.say(f"save {tmp_path / 'tide'}")
    runner = CliRunner()
    for command in (["show"], ["golden"], ["panel", "--plain"]):
        answer = runner.invoke(cli, [*command, "tide_gauge", "--procedure", str(tmp_path / "tide.toml")])
        assert answer.exit_code == 0, answer.stderr


def test_keys_become_actions() -> None:
    session = session_on("tide_gauge")
    for kind, texts in (
        (toggled, ["set i0=1", "set i0=0"]),
        (pressed, ["press i0", "release i0"]),
        (linked, ["drive i0=1", "drive i0=0", "let go i0"]),
    ):
        for text in texts:
            action = kind(session, "i0")
            assert to_text(action) == text
            session.do(action)


def test_cautions_come_when_they_matter_and_once() -> None:
    session = session_on("ferry_whistle")
    told = " ".join(session.say("drive i2=1").lines)
    assert "Caution: Drive a line from outside only while its switch is open" in told
    assert "1 kOhm" in told and "documents come first" in told
    assert "static electricity" in told and "loudspeaker" in told
    assert "Caution" not in " ".join(session.say("drive i2=0").lines)


def test_completion() -> None:
    session = session_on("tide_gauge")
    assert completions(session, "pre") == ["press"]
    assert completions(session, "press i") == ["press i0", "press i6", "press i7"]
    assert completions(session, "set i0=1 i3")[0] == "set i0=1 i3=1"
    assert completions(session, "oscillator ") == ["oscillator on", "oscillator off"]
    assert completions(session, "why o") == [f"why o{bit}" for bit in range(8)]


def test_an_empty_slot_a_loop_and_a_pause_say_what_they_are() -> None:
    assert session_on("tide_gauge", "select 1").look()[1].startswith("Slot 1 of quay is empty")
    ring = session_on("inverter_ring", "set i0=1", board="quay")
    ring.say("wait 10 ms")
    assert "free" in ring.look()[1]
    paused = session_on("tide_gauge", "restart", "oscillator off", "wait 3 s")
    assert "the oscillator is off" in paused.look()[1]


def test_why_names_source_lines_and_what_moved_last() -> None:
    session = session_on("tide_gauge", "restart", "steps 3")
    now, *causes = session.say("why o6").lines
    assert now.startswith("o6 is 1 at the end of step 6, by design.py:")
    # From 2 to 3 only bit 0 of the level moves: what makes the middle bar came with the step before.
    assert any("level[3:1] is 1, since step 5" in cause for cause in causes)
    assert session.say("why o6 step 3").lines[0].startswith("o6 is 0 at the end of step 3")
    for said, words in (
        ("why", "why : of what?"),
        ("why o9", "o9"),
        ("why o6 step 99", "the run has no step 99"),
    ):
        assert words in session.say(said).refused
    session.say("select 1")
    assert "the selected slot is empty" in session.say("why o6").refused
