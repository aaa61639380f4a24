"""The goldens beside the designs are what is foretold now; they change only by `forelight golden --all --update`."""

from __future__ import annotations

import os
import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.designs.catalogue import load_design, names
from forelight.designs.datasheet import Datasheet
from forelight.designs.sheets.reader import load
from forelight.harness.bench.kept import FOLDER, MOST_ROWS, differences, file_name, foretold, keep
from forelight.harness.boards.reader import load_board
from forelight.harness.cli import cli
from forelight.harness.golden.read import read_golden

BOARDS = [load_board("quay"), load_board("mole")]
SEED = os.environ.get("FORELIGHT_SEED", "1")
#: Some of the designs in every run of the tests; all of them in the slow ones.
SAMPLE = random.Random(SEED).sample(names(), 5)


@pytest.mark.parametrize("name", names())
def test_each_run_has_a_small_golden(name: str) -> None:
    sheet = load_design(name)
    files = {path.name: path for path in (sheet.folder / FOLDER).iterdir()}
    kinds = (".csv", ".toml")
    assert set(files) == {f"{file_name(run.name)}{kind}" for run in sheet.runs for kind in kinds}
    for path in files.values():
        assert path.stat().st_size < 100_000
        if path.suffix == ".csv":
            golden = read_golden(path)
            assert golden.facts["design"] == name
            assert golden.facts["kept_rows"] == len(golden.ticks) <= MOST_ROWS
            assert not golden.races


@pytest.mark.parametrize("name", SAMPLE)
def test_goldens_are_fresh(name: str) -> None:
    print("seed", SEED)
    sheet = load_design(name)
    assert differences(sheet, foretold(sheet, BOARDS)) == []


@pytest.mark.slow
def test_all_goldens_are_fresh() -> None:
    found = CliRunner().invoke(cli, ["golden", "--all"])
    assert found.exit_code == 0, found.output


@pytest.fixture
def gauge(tmp_path: Path) -> Datasheet:
    """A copy of a design, its goldens with it."""
    shutil.copytree(load_design("tide_gauge").folder, tmp_path / "tide_gauge")
    return load(tmp_path / "tide_gauge")


def test_a_change_of_the_design_is_seen_and_kept_only_when_asked(gauge: Datasheet) -> None:
    source = gauge.folder / "design.py"
    source.write_text(source.read_text().replace("level != 8", "level != 7"))
    changed = load(gauge.folder)
    files = foretold(changed, BOARDS)
    found = {difference.run: difference for difference in differences(changed, files)}
    assert set(found) == {file_name(run.name) for run in gauge.runs}
    tide = found["one-tide"]
    assert tide.kind == "changed" and tide.more and tide.fewer
    assert tide.first is not None and tide.first.count(",") == 4
    assert {"netlist_sha256", "csv_sha256"} <= set(tide.facts)
    assert differences(changed, files) == list(found.values())  # looking changes nothing
    keep(changed, files)
    assert differences(changed, files) == []


def test_new_and_stale_goldens(gauge: Datasheet) -> None:
    files = foretold(gauge, BOARDS)
    (gauge.folder / FOLDER / "one-tide.csv").unlink()
    (gauge.folder / FOLDER / "of-yore.csv").write_text("old")
    kinds = {difference.run: difference.kind for difference in differences(gauge, files)}
    assert kinds["one-tide"] == "new" and kinds["of-yore"] == "stale"
    keep(gauge, files)
    assert sorted(path.name for path in (gauge.folder / FOLDER).iterdir()) == sorted(files)


def test_a_long_run_is_cut_and_compared_to_its_end(gauge: Datasheet) -> None:
    run = replace(gauge.runs[0], do=("restart", "steps 3000"))
    long, longer = (replace(gauge, runs=(r,)) for r in (run, replace(run, do=("restart", "steps 3001"))))
    files = foretold(long, BOARDS)
    keep(long, files)
    golden = read_golden(long.folder / FOLDER / f"{file_name(run.name)}.csv")
    assert len(golden.ticks) == MOST_ROWS < int(golden.facts["rows"])
    assert golden.ticks[-1] < golden.end
    (found,) = differences(longer, foretold(longer, BOARDS))
    assert (found.more, found.fewer) == (0, 0)
    assert {"rows", "csv_sha256", "procedure_sha256"} <= set(found.facts)


@pytest.mark.parametrize("arguments", [[], ["dice", "--all"], ["dice", "--update"]])
def test_one_design_or_all(arguments: list[str]) -> None:
    found = CliRunner().invoke(cli, ["golden", *arguments])
    assert found.exit_code == 2
    assert "give a SLOT, or --all (and then --update if you like)" in found.stderr
