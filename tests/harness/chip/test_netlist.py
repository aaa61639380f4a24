"""Netlists of the catalogue that are kept from run to run: when they are, and what makes them anew."""

from __future__ import annotations

import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.sheets.reader import load
from forelight.harness.bench.course import seated
from forelight.harness.boards.reader import load_board
from forelight.harness.chip import netlist, wired_design
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.sim.netlist import Netlist


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """The designs of which a netlist was made and not found, with a cache of its own."""
    names: list[str] = []
    real = wired_design.converted

    def converted(datasheet: object, *rest: object) -> Netlist:
        names.append(datasheet.name)  # type: ignore[attr-defined]
        return real(datasheet, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(wired_design, "converted", converted)
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "cache"))
    return names


def test_a_design_of_the_catalogue_is_kept_as_it_was_made(made: list[str]) -> None:
    for name in ("tide_gauge", "gated_clock"):
        sheet = load_design(name)
        first = wrapper_netlist(sheet)
        assert wrapper_netlist(sheet) == first
        assert wrapper_netlist(sheet).warnings == first.warnings
    assert made == ["tide_gauge", "gated_clock"]


def test_what_can_change_it_makes_it_anew(made: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = load_design("tide_gauge")
    plain = wrapper_netlist(sheet)
    other = wrapper_netlist(replace(sheet, restart=None))
    assert other != plain
    assert len(made) == 2
    netlist.makers.cache_clear()
    monkeypatch.setattr(netlist, "MAKERS", netlist.MAKERS[:-1])
    wrapper_netlist(sheet)
    netlist.makers.cache_clear()
    assert len(made) == 3


def test_a_memory_beside_the_design_is_part_of_it(made: list[str]) -> None:
    reader = load_design("chart_reader")
    seats = [seated(load_board(board), reader) for board in ("quay", "mole", "quay")]
    assert seats[0].netlist == seats[2].netlist != seats[1].netlist
    assert wrapper_netlist(reader) not in [seat.netlist for seat in seats]
    assert len(made) == 3


def test_a_strangers_design_is_not_kept(made: list[str], tmp_path: Path) -> None:
    folder = tmp_path / "dice"
    shutil.copytree(load_design("dice").folder, folder)
    for _ in range(2):
        wrapper_netlist(load(folder))
    assert made == ["dice", "dice"]


def test_a_damaged_entry_is_made_anew(made: list[str], tmp_path: Path) -> None:
    sheet = load_design("dice")
    first = wrapper_netlist(sheet)
    for path in (tmp_path / "cache").glob("*.netlist"):
        path.write_bytes(path.read_bytes()[:-9])
    assert wrapper_netlist(sheet) == first
    assert len(made) == 2


def test_all_code_that_makes_a_netlist_is_looked_at() -> None:
    """Whatever module of Forelight a fresh process loads for it lies in one of the folders whose times are compared."""
    code = (
        "import sys; from forelight.designs.catalogue import load_design\n"
        "from forelight.harness.boards.reader import load_board\n"
        "from forelight.harness.chip.wired_design import converted\n"
        "from forelight.harness.attach.answering import answering\n"
        "from forelight.harness.attach.wired_memory import memories\n"
        "for name in ('tide_gauge', 'gated_clock', 'chart_reader'):\n"
        "    sheet = load_design(name); found = memories(sheet)\n"
        "    converted(sheet, None, answering(found, True) if found else None)\n"
        "print(*(name for name in sys.modules if name.startswith('forelight.')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    folders = {"forelight." + folder.replace("/", ".") for folder in netlist.MAKERS}
    packages = {"forelight.harness", *folders}
    loaded = {name for name in done.stdout.split() if name not in packages}
    assert len(loaded) > 30
    assert {name for name in loaded if name.rpartition(".")[0] not in folders} == set()
