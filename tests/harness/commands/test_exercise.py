"""`forelight check --exercise`: a hidden cause, and what an answer is worth."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from forelight.harness.asking.question import Asked, question
from forelight.harness.capture.readers import parse_capture
from forelight.harness.cli import cli
from forelight.harness.commands.exercise import NEARLY, RIGHT, WRONG, drawn, judged
from forelight.harness.commands.judging.judge import held_against
from forelight.harness.verdict.causes.exercise import Exercise
from forelight.harness.verdict.causes.rank import FAMILIES
from forelight.harness.verdict.causes.suspects import Ranking
from forelight.harness.verdict.verdict import DIFFERS
from forelight.sim.errors import UsageError

from tests.harness.verdict.causes.benches import handling

NONE = Ranking((), 0.0, 0, None)
SEEDS = (1, 2)


def ask(*arguments: str, code: int = 0) -> Result:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(cli, arguments)
    assert result.exit_code == code, result.output
    return result


def asked() -> Asked:
    return Asked("tide_gauge", board="quay", strap=None, hz=None, levels={}, run_name=None, procedure=None,
                 seconds=None, seed=0)  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
def test_the_recording_differs_and_is_the_same_for_the_same_number(seed: int) -> None:
    print("seed", seed)
    asking = question(asked())
    made = drawn(asking, seed)
    assert made.text == drawn(asking, seed).text
    capture = parse_capture(made.text.encode(), "exercise")
    assert held_against(asking, asking.golden(), capture)[1].kind == DIFFERS


def hidden(name: str) -> Exercise:
    """One in which this is hidden; nothing of its recording is looked at."""
    it, text = handling("tide_gauge"), "time_s,o0\n0.0,0\n1.0,1\n"
    capture = parse_capture(text.encode(), "exercise")
    causes = [cause for family in FAMILIES for cause in family(it, capture)]
    return Exercise(it, next(cause for cause in causes if cause.name == name), text)


def test_what_an_answer_is_worth() -> None:
    made = hidden("i3 stuck at 0")
    assert judged(made, NONE, " I3 stuck at 0") == RIGHT
    assert judged(made, NONE, "input stuck") == NEARLY
    assert judged(made, NONE, "i3 stuck at 1") == WRONG
    assert judged(hidden("restart held"), NONE, "restart held") == RIGHT
    with pytest.raises(UsageError, match="did you mean"):
        judged(made, NONE, "i3 stuck at O")
    with pytest.raises(UsageError, match="is no cause that is known here"):
        judged(made, NONE, "bad luck")


def test_the_file_is_written_and_says_nothing_of_the_cause(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    said = " ".join(ask("check", "tide_gauge", "--exercise", "1", "-o", "what.csv").output.split())
    assert said.startswith(
        "Wrote what.csv: a recording of Tide gauge in which something went wrong. What was it?"
    )
    assert Path("what.csv").read_text().startswith("time_s,o0,o1,o2,o3,o4,o5,o6,o7\n")


@pytest.mark.parametrize(
    "arguments",
    [("what.csv", "--exercise", "1"), ("--exercise", "1"), ("what.csv", "--answer", "x"),
     ("--exercise", "1", "-o", "a", "--answer", "x"), ("--exercise", "1", "-o", "a", "--survey", "q")],
)  # fmt: skip
def test_what_does_not_go_together_is_refused(arguments: tuple[str, ...]) -> None:
    assert "xercise" in ask("check", "tide_gauge", *arguments, code=2).output
