"""`panel` and `lesson` at a terminal that is a pipe: dialogues, progress and handouts."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.harness.cli import cli


@pytest.fixture(autouse=True)
def _own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORELIGHT_STATE", str(tmp_path))


def said(*command: str, typed: str = "", code: int = 0) -> str:
    answer = CliRunner().invoke(cli, command, input=typed)
    assert answer.exit_code == code, answer.output
    return " ".join(answer.output.split())


def test_a_dialogue_at_the_bench() -> None:
    told = said("panel", "tide_gauge", "--plain", typed="restart\nsteps 3\nset i7=1\nquit\n")
    assert "Display: 3 and the point." in told
    assert 'Refused: "set i7=1": the step clock drives i7' in told
    assert "What you did is kept in" in told


def test_without_a_slot_the_lowest_one_is_taken() -> None:
    assert said("panel", typed="quit\n").startswith("Watch vote, slot 3 of quay.")


def test_a_lesson_is_played_kept_and_told() -> None:
    told = said("lesson", "1", typed="select 101\nrestart\npulse 1\n")
    assert "Question: Bring the tide to 4, still rising." in told
    progress = {row["lesson"]: row for row in json.loads(said("lesson", "--progress", "--json"))}
    assert progress[1]["done"] == 3 and progress[2]["done"] == 0
    assert "3 of 4 tasks" in said("lesson", "--progress")
    assert "Lesson 1 is done." in said("lesson", typed="select 101\nrestart\npulse 1\npulse 3\n")
    assert said("lesson", typed="quit\n").startswith("Lesson 2: Which way is on.")


def test_handouts() -> None:
    everything = said("lesson", "--print")
    assert all(f"Lesson {number}: " in everything for number in range(1, 16))
    assert "pulse 3" not in said("lesson", "1", "--print")
    assert "pulse 3" in said("lesson", "1", "--print", "--answers")


def test_what_is_not_there_is_said(tmp_path: Path) -> None:
    assert "there is no lesson 16; the lessons are 1 to 15" in said("lesson", "16", code=2)
    (tmp_path / "lessons.json").write_text("[1]")
    assert "the progress cannot be read" in said("lesson", "--progress", code=2)
