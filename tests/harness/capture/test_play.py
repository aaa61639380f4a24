"""Inputs played from a recording: what the hand did comes back in the prediction, at the same steps."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Frames, Procedure, Set, parse
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.capture.play import in_doubt, played
from forelight.harness.capture.readers import read_capture
from forelight.harness.capture.record import Capture
from forelight.harness.cli import cli
from forelight.harness.golden.golden import Golden
from forelight.harness.golden.write import write_golden
from forelight.harness.hand.routine import bring_up
from forelight.harness.verdict.kinds import DIFFERS
from forelight.harness.verdict.verdict import check
from forelight.sim.errors import CaptureError, ForelightError, UsageError

QUAY = load_board("quay")
DICE = load_design("dice")
THROWS = [
    "restart",
    "set i0=1",
    "steps 40",
    "set i0=0",
    "steps 25",
    "set i0=1",
    "wait 30 ms",
    "set i0=0",
    "steps 9",
]


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def golden(*texts: str, code: int = 29) -> Golden:
    before = bring_up(QUAY, DICE, slot=137, code=code)
    procedure = Procedure("test", (*before, *parse(texts)))
    return predict(QUAY, DICE, played(procedure, QUAY, DICE, 137), slot=137, power_ups=4)


def rows(found: Golden, late: int = 0) -> list[tuple[int, int, int]]:
    """Inputs but for the step line, outputs and step after each change in settled rows, from the restart on."""
    first = int(np.flatnonzero(found.inputs & 0x40)[0])
    out: list[tuple[int, int, int]] = []
    for step, inputs, outputs in zip(
        found.steps[first:].tolist(),
        found.inputs[first:].tolist(),
        found.outputs[first:].tolist(),
        strict=True,
    ):
        if not out or out[-1][:2] != (inputs & 0x3F, outputs):
            out.append((inputs & 0x3F, outputs, step - late))
    return out


@pytest.mark.parametrize("ending", ["csv", "vcd"])
def test_a_golden_played_is_the_golden(ending: str) -> None:
    """What was predicted for a hand that is known stands in for its recording."""
    told = golden(*THROWS)
    write_golden(told, Path(f"hand.{ending}"))
    again = golden(f"play hand.{ending}")
    late = int(
        again.steps[np.flatnonzero(again.inputs & 0x40)[0]]
        - told.steps[np.flatnonzero(told.inputs & 0x40)[0]]
    )
    assert rows(again, late) == rows(told)
    assert len(rows(told)) > 20


def test_steps_count_where_they_were_recorded() -> None:
    """The same hand at another rate of the step clock: inputs change at the same steps, not at the same times."""
    write_golden(golden(*THROWS, code=29), Path("hand.csv"))
    slower = golden("play hand.csv", code=60)
    again = golden("play hand.csv")
    assert slower.oscillator_hz == again.oscillator_hz and slower.end > 1.5 * again.end
    first, second = (int(found.steps[np.flatnonzero(found.inputs & 0x40)[0]]) for found in (slower, again))
    assert rows(slower, first - second) == rows(again)


def write_hand(late: float, jitter: float) -> Capture:
    """A step line of 200 steps, and i0 that goes up so many steps behind a rise, and down in the middle of a step."""
    rng = np.random.default_rng(3)
    print("seed 3")
    edges = 1.0 + np.arange(400) / 2 + rng.uniform(-jitter, jitter, 400)
    events = [(time, "i7", 1 - number % 2) for number, time in enumerate(edges.tolist())]
    level, rows = {"i7": 0, "i0": 0}, ["time_s,i7,i0", "0,0,0"]
    for time, line, to in sorted([*events, (50 + late, "i0", 1), (80.25, "i0", 0)]):
        level[line] = to
        rows.append(f"{time / 50:.9f},{level['i7']},{level['i0']}")
    Path("hand.csv").write_text("\n".join(rows) + "\n")
    return read_capture(Path("hand.csv"), {})


def test_inputs_that_moved_beside_a_rise_may_have_moved_on_either_side_of_it() -> None:
    assert in_doubt(write_hand(0.04, 0.1), "i7") == pytest.approx([0.04], abs=0.03)
    assert len(in_doubt(write_hand(0.3, 0.1), "i7")) == 0
    assert len(in_doubt(write_hand(0.04, 0.0), "i7")) == 0, "exact times leave no doubt"
    write_hand(0.04, 0.1)
    before = bring_up(QUAY, DICE, slot=137, code=29)
    rises = []
    for side in ((), (0,)):
        procedure = Procedure("test", parse(["restart", "play hand.csv"]))
        found = played(procedure, QUAY, DICE, 137, before=before, other_side=side)
        told = predict(QUAY, DICE, replace(found, actions=(*before, *found.actions)), slot=137, power_ups=1)
        up = int(np.flatnonzero(np.diff((told.inputs & 1).astype(np.int8)) == 1)[-1]) + 1
        rises.append(int(told.steps[up]))
        clocked = np.flatnonzero(np.diff(told.steps)) + 1
        assert not np.isin(told.ticks[up], told.ticks[clocked]), "never together with the step line"
    assert rises[0] == rises[1] + 1


def test_times_count_without_a_step_line() -> None:
    Path("hand.csv").write_text("time_s,i0,i3\n0,0,1\n0.5,1,1\n0.75,1,0\n1.25,0,0\n2,0,0\n")
    sheet = replace(DICE, step=None, restart=None)
    procedure = played(Procedure("test", parse(["play hand.csv"])), QUAY, sheet)
    assert procedure.actions == (
        Set({"i0": 0, "i3": 1}),
        Frames(1499),
        Set({"i0": 1}),
        Frames(749),
        Set({"i3": 0}),
        Frames(1499),
        Set({"i0": 0}),
        Frames(2249),  # to the last row: these are changes
    )


def test_levels_by_step_and_gaps() -> None:
    Path("eye.csv").write_text("step,i0,i1,outputs\n0,0,x,00000000\n3,1,1,00000001\n5,0,1,00000010\n")
    procedure = Procedure("test", parse(["strap 0", "play eye.csv"]))
    found = played(procedure, QUAY, DICE)
    # With strap code 0 the step clock rises in frames 1, 3 and 5 from here: frame 6 stands in the middle of step 3.
    both = {"i0": 1, "i1": 1}
    assert found.actions[1:-1] == (Set({"i0": 0}), Frames(5), Set(both), Frames(3), Set(both | {"i0": 0}))


def test_times_beyond_the_recorded_steps_count_at_their_mean_rate() -> None:
    """Steps at 1, 2 and 4 s last 1.5 s in the mean: what is done at 7 s is done two of them after the last."""
    Path("hand.csv").write_text(
        "time_s,i7,i0\n0,0,0\n1,1,0\n1.5,0,0\n2,1,0\n3,0,0\n4,1,0\n5,0,0\n7,0,1\n8,0,1\n"
    )
    found = played(Procedure("test", parse(["strap 0", "play hand.csv"])), QUAY, DICE)
    # The first rise comes in frame 1 from here, and a step lasts two frames: four steps later is frame 9.
    assert found.actions[1:4] == (Set({"i0": 0}), Frames(8), Set({"i0": 1}))


@pytest.mark.parametrize(
    ("text", "error"),
    [
        (
            "time_s,o0\n0,0\n1,1\n2,0\n",
            "hand.csv: no input line is recorded in it; map one with --map i0=COLUMN",
        ),
        ("time_s\n", "hand.csv"),
    ],
)
def test_what_cannot_be_played(text: str, error: str) -> None:
    Path("hand.csv").write_text(text)
    with pytest.raises(CaptureError) as caught:
        golden("play hand.csv")
    assert str(caught.value).startswith(error)


@pytest.mark.skipif(sys.platform == "win32", reason="pipes have no names there")
def test_a_pipe_is_not_played(folder: Path) -> None:
    os.mkfifo("hand.csv")
    with pytest.raises(UsageError, match="a pipe can be read once, and this more often"):
        golden("play hand.csv")


def test_only_from_the_folder_of_the_procedure(folder: Path) -> None:
    (folder / "in").mkdir()
    Path("hand.csv").write_text("time_s,i0\n0,0\n1,1\n")
    procedure = replace(Procedure("test", parse(["play ../hand.csv"])), folder=folder / "in")
    with pytest.raises(UsageError, match="lies outside the folder"):
        played(procedure, QUAY, DICE)
    with pytest.raises(ForelightError, match="a recording must be read first"):
        predict(QUAY, DICE, Procedure("test", parse(["play hand.csv"])), slot=137)


def test_what_stands_against_a_recording_is_named_with_its_line(folder: Path) -> None:
    (folder / "in").mkdir()
    Path("in/hand.csv").write_text("time_s,i0\n0,0\n1,1\n")
    file = Path("in/p.toml")

    def asked(*actions: str) -> str:
        file.write_text("do = [\n" + "".join(f'"{action}",\n' for action in actions) + "]\n")
        answer = CliRunner().invoke(cli, ["show", "dice", "--procedure", str(file)])
        assert answer.exit_code == 2
        return answer.stderr

    assert asked("restart", "play ../hand.csv").startswith(
        f'forelight: {file}:3, action 2: "play ../hand.csv": the recording lies outside the folder; put a copy into'
    )
    assert asked("restart", "drive i0=1", "play hand.csv").startswith(
        f'forelight: {file}:4, action 3: "play hand.csv": "set i0=0": i0 is driven from outside; two sources'
    )


def test_columns_of_a_recording_are_mapped_for_any_command() -> None:
    Path("hand.csv").write_text("time_s,CH1\n0,0\n1,1\n2,0\n")
    answer = CliRunner().invoke(cli, ["golden", "dice", "--play", "hand.csv", "--map", "i0=CH1", "-o", "-"])
    assert answer.exit_code == 0, answer.output
    assert any(row.split(",")[2].endswith("1") for row in answer.output.splitlines()[1:])


def test_check_plays_the_inputs_of_its_own_capture() -> None:
    """A person rolled the dice by hand while the instrument recorded all lines."""
    write_golden(golden(*THROWS), Path("bench.csv"))
    alone = check(golden("restart", "steps 90"), read_capture(Path("bench.csv")), QUAY)
    along = CliRunner().invoke(cli, ["check", "dice", "bench.csv", "--play", "bench.csv", "--strap", "29"])
    assert along.exit_code == 0, along.output
    assert alone.kind == DIFFERS, "without the hand on the switch the dice rests"
    assert (
        CliRunner().invoke(cli, ["show", "dice", "--play", "bench.csv", "--run", "two throws"]).exit_code == 2
    )
