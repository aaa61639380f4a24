"""What every shipped design owes the bench: a whole datasheet, runs, and a restart that settles it."""

from __future__ import annotations

import random
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from forelight.designs.procedures import procedure
from forelight.designs.sheets.attachments import driven_lines, heard_lines
from forelight.designs.sheets.reader import load
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import run_procedure

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive

CATALOGUE = Path(__file__).parents[3] / "designs" / "breakwater"
FOLDERS = sorted(path.parent for path in CATALOGUE.glob("*/datasheet.toml"))
EACH = pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
STEPPED = pytest.mark.parametrize(
    "folder", [folder for folder in FOLDERS if load(folder).restart], ids=lambda folder: folder.name
)
#: With a step clock and no restart nothing settles: it has no outputs to foretell but up to a shift.
WITHOUT_RESTART = {folder for folder in FOLDERS if load(folder).step and not load(folder).restart}
SETTLING = pytest.mark.parametrize(
    "folder", [folder for folder in FOLDERS if folder not in WITHOUT_RESTART], ids=lambda folder: folder.name
)


@EACH
def test_the_datasheet_says_it_all(folder: Path) -> None:
    """Title, creator, licence, a description, and idle levels for every named input that nothing outside drives."""
    sheet = load(folder)
    assert all((sheet.title, sheet.creator, sheet.license, sheet.description))
    driven = {*driven_lines(sheet), *heard_lines(sheet)}
    switched = {name for name in sheet.lines if name.startswith("i")} - driven
    assert all(sheet.lines[name].idle is not None for name in switched)


@EACH
def test_runs_are_described(folder: Path) -> None:
    """There is at least one, each says what to expect, and it begins with the restart where there is one."""
    sheet = load(folder)
    assert sheet.runs
    for run in sheet.runs:
        assert run.expect
        first = procedure.of_run(sheet, run.name).actions[0]
        assert isinstance(first, procedure.Restart if sheet.restart else procedure.Set)


@SETTLING
@pytest.mark.parametrize("board_name", ["quay", "mole"])
def test_runs_are_settled(board_name: str, folder: Path) -> None:
    """On either board every bit is settled from the third step on, when the restart has done its work.

    A sender is connected before that, in a step of its own.
    """
    board, sheet = load_board(board_name), load(folder)
    for run in sheet.runs:
        golden = predict(board, sheet, run_procedure(board, sheet, run.name), power_ups=16, seed=3)
        late = (
            golden.steps >= 3 + len(heard_lines(sheet))
            if sheet.step
            else golden.ticks > board.oscillator_hz // 10
        )
        assert late.any()
        if golden.loops:  # a ring that the run lets go: its own test says what it reaches
            assert folder.name == "inverter_ring" and run.name == "let go"
            continue
        assert (golden.settled[late] == 0xFF).all()


def test_one_design_is_without_restart() -> None:
    """Its description says so, and its own test says what can be foretold of it all the same."""
    assert [folder.name for folder in WITHOUT_RESTART] == ["free_counter"]


@STEPPED
def test_the_restart_settles_it(drive: Drive, folder: Path) -> None:
    """After the restart nothing is left of the power-up, whatever the switches say."""
    seed = 20
    print("seed", seed)
    source = random.Random(seed)
    levels = [source.randrange(64) for _ in range(20)]
    seen = []
    power_ups: list[PowerUp] = [0, 1, *(random.Random(source.randrange(2**32)) for _ in range(8))]
    for power_up in power_ups:
        design = drive(folder.name, power_up)
        design.steps(source.randrange(1, 100))
        design.restart()
        runs = []
        for level in levels:
            design.switch(level)
            runs.append(np.append(design.now(), design.steps(100)))
        seen.append(np.concatenate(runs))
    assert all(np.array_equal(seen[0], outputs) for outputs in seen[1:])
