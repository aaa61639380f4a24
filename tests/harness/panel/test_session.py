"""What is said at the panel: actions and refusals, the list, and the files that it is kept in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from forelight.designs.procedures.procedure import Procedure, load_toml, parse, to_text
from forelight.harness.bench.predict import predict
from forelight.harness.cli import cli
from forelight.harness.panel.plain import dialogue
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
        ("play hands.csv", "Refused: hands.csv: cannot read the recording: no such file"),
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


HANDS = "time_s,i0,i1\n0.0,0,0\n0.5,1,0\n1.25,1,1\n2.0,0,0\n3.0,0,0\n"


def outcome(lines: tuple[str, ...]) -> str:
    """Display and outputs; the command line brings the slot up on its own."""
    return lines[-2].partition(". ")[2]


def test_a_list_that_cannot_be_kept_is_told_once_and_the_bench_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv("FORELIGHT_STATE", str(tmp_path / "file"))
    session = session_on("tide_gauge", keep=True)
    told = session.say("restart")
    assert not told.refused and any("is not kept any more" in line for line in told.lines)
    told = session.say("steps 3")
    assert not any("kept" in line for line in told.lines) and len(session.actions) == 2


def test_a_recording_is_played_into_the_inputs_and_the_list_opens_everywhere(tmp_path: Path) -> None:
    (tmp_path / "hands.csv").write_text(HANDS)
    (tmp_path / "played.toml").write_text('do = ["restart", "play hands.csv", "steps 2"]\n')
    session = session_on("tide_gauge", "restart")
    told = session.say(f"play {tmp_path / 'hands.csv'}")
    assert not told.refused and told.lines[0].startswith("Move the switches as they moved in")
    assert session.listed()[1] == f"2. play {tmp_path / 'hands.csv'}"
    session.say("steps 2")
    opened = session_on("tide_gauge")
    assert not opened.open(tmp_path / "played.toml").refused
    foretold = predict(session.board, session.sheet, Procedure("", tuple(session.bench.actions)), slot=101)
    with opened.bench.answered():
        shown = opened.bench.record()
        for name in ("ticks", "steps", "inputs", "outputs"):
            np.testing.assert_array_equal(getattr(shown, name), getattr(foretold, name))
    assert int(np.bitwise_or.reduce(shown.inputs)) & 3 == 3
    session.say(f"save {tmp_path / 'list'}")
    saved = load_toml(tmp_path / "list.toml").actions
    assert [to_text(one) for one in saved[1:3]] == ["set i0=0 i1=0", "frames 1499"] and to_text(
        saved[-1]
    ) == "steps 2"
    again = session_on("tide_gauge")
    again.open(tmp_path / "list.toml")
    assert again.look() == session.look()
    assert session.say("undo").lines[0] == "Taken back: steps 2."
    assert session.say("undo").lines[0].startswith("Taken back: play ")
    assert session.listed() == ("1. restart",)


def test_a_saved_list_begins_as_the_panel_did(tmp_path: Path) -> None:
    """Other commands leave the strap out where a procedure straps by itself."""
    session = session_on("tide_gauge", "set i1=1", "wait 2 s", "strap 120", "steps 3")
    session.say(f"save {tmp_path / 'list'}")
    actions = load_toml(tmp_path / "list.toml").actions
    assert [to_text(one) for one in actions] == [
        "strap 182",
        "set i1=1",
        "wait 2.0 s",
        "strap 120",
        "steps 3",
    ]
    runner = CliRunner()
    for command in (["show"], ["panel", "--plain"]):
        answer = runner.invoke(cli, [*command, "tide_gauge", "--procedure", str(tmp_path / "list.toml")])
        assert answer.exit_code == 0, answer.stderr
    by_hand = tmp_path / "hand.toml"
    by_hand.write_text('do = ["pulse 3"]\n')
    answer = runner.invoke(cli, ["panel", "--plain", "tide_gauge", "--procedure", str(by_hand)])
    assert "Refused" not in answer.output + answer.stderr and "Step clock off" in answer.output


def test_words_are_meant_for_the_design_that_is_selected(tmp_path: Path) -> None:
    session = session_on("tide_gauge", "restart", "steps 3")
    before = session.look()[0]
    session.say("select 9")
    assert "number, bit 0" in session.lines()[0] and session.look()[0].startswith("2.210 s. Display: 0")
    for said in ("restart", "steps 2", "pulse 1"):
        assert "hex_segments, which is selected, has no" in session.say(said).refused
    session.say("select 17")
    # The lighthouse restarts at a low level, the tide gauge at a high one.
    assert "held by i6" in session.look()[1]
    told = session.say("restart")
    assert told.lines[0] == "Hold the restart line A6 (i6, button RESTART) low for 2 steps, then let go."
    assert session.listed()[-1] == "5. restart" and session.bench.situation.switches["i6"] == 1
    assert "step 3. Display" in told.lines[-2]
    session.say("disable")
    session.say("pulse 4")
    assert ", step 7. Display" in session.look()[0]
    session.say(f"save {tmp_path / 'list'}")
    answer = CliRunner().invoke(cli, ["golden", "101", "--procedure", str(tmp_path / "list.toml")])
    assert answer.exit_code == 0, answer.stderr
    session.say("select 1")
    assert "slot 1 is empty" in session.say("restart").refused
    for said in ("set i6=0", "select 101"):
        session.say(said)
    assert session.look()[0].partition("Display")[2] == before.partition("Display")[2]
    session.say("edit 3 select 101")
    assert "hold" in session.lines()[0]


def test_the_board_has_one_restart_line_of_its_own() -> None:
    session = session_on("lighthouse", "select 57", board="mole")  # restarts low; the tide gauge high
    assert "the board works its own lines as lighthouse wants" in session.say("restart").refused
    assert not session.say("steps 2").refused


def test_time_passes_between_lines_when_it_is_let_go() -> None:
    session, heard = session_on("tide_gauge", "restart"), list[str]()
    moments = iter((0.0, 5.0, 5.0, 7.0, 7.0, 9.0, 9.0))
    said = ["look", "go", "look", "go 0.1", "stand", "list"]
    dialogue(session, said[:3], heard.append, lambda: next(moments))
    assert [line for line in heard if "passed" in line] == ["2.000 s passed on the bench, true speed."]
    heard.clear()
    moments = iter((0.0, 0.0, 0.0, 30.0, 30.0, 60.0, 60.0))
    dialogue(session, said[3:], heard.append, lambda: next(moments))
    assert "3.000 s passed on the bench, 0.1 times true." in heard and "Time stands." in heard
    assert heard[-1].startswith("2. wait 5.0")
    assert "no such speed; write go, or go and 0.001, 0.01" in session.say("go 3").refused


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


def test_what_the_eye_cannot_read_is_said_with_the_rate_at_which_it_can() -> None:
    session = session_on("tide_gauge")
    session.say("restart")
    assert "To the eye" not in " ".join(session.say("steps 8").lines)
    for said in ("disable", "strap 0", "restart"):
        session.say(said)
    fast = " ".join(session.say("steps 1600").lines)
    assert "To the eye: blended; to read it take strap code 149, 4.26136 Hz, or a slower one." in fast
    for said in ("disable", "strap 149", "restart"):
        session.say(said)
    assert "To the eye" not in " ".join(session.say("steps 80").lines)
