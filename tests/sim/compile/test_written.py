"""What is kept of texts: found again for the same netlist and question alone, and only in a command's own process."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from forelight.sim.compile import compiled
from forelight.sim.compile.compiled import WRITTEN, Compiled
from forelight.sim.disk_cache import Door
from forelight.sim.machine.code import CACHE
from forelight.sim.netlist import Cell, Netlist, Word
from forelight.sim.simulation import Simulation


def gate(kind: str) -> Netlist:
    a, b, y = (Word.value(number, 1) for number in range(3))
    return Netlist("gate", (1, 1, 1), {"a": 0, "b": 1}, {"y": y}, (Cell(kind, 2, (a, b)),), (), ())


def answers(kind: str) -> list[int]:
    sim, found = Simulation(gate(kind)), []
    for value in range(4):
        sim.set_many({"a": value & 1, "b": value >> 1})
        sim.settle()
        found.append(sim.get("y"))
    return found


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path))
    monkeypatch.setattr(Door, "open", True)
    return tmp_path


def kept(place: Path) -> int:
    return len([*place.glob(f"*{WRITTEN.suffix}")])


def test_a_text_is_written_once_and_netlists_that_differ_in_one_cell_have_their_own(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert answers("$and") == [0, 0, 0, 1]
    assert kept(place) == 1
    assert answers("$or") == [0, 1, 1, 1]
    assert kept(place) == 2
    monkeypatch.setattr(Compiled, "text", lambda *_: pytest.fail("it was written before"))
    assert answers("$and") == [0, 0, 0, 1]
    assert answers("$or") == [0, 1, 1, 1]
    assert kept(place) == 2


def test_machine_code_that_is_gone_is_made_again(place: Path) -> None:
    assert answers("$and") == [0, 0, 0, 1]
    for entry in place.glob(f"*{CACHE.suffix}"):
        entry.unlink()
    assert answers("$and") == [0, 0, 0, 1]


def test_each_question_has_its_own_name(place: Path) -> None:
    netlist = gate("$and")
    for made in (Compiled(netlist), Compiled(netlist, keep_in_memory=True)):
        made.settle()
        made.rows(["a"], netlist.outputs["y"])
        made.rows(["a", "b"], netlist.outputs["y"])
    assert kept(place) == 6
    Compiled(replace(netlist, name="other")).settle()
    assert kept(place) == 7


def test_code_that_writes_otherwise_has_other_names(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answers("$and")
    monkeypatch.setattr(compiled, "_writers", lambda: "changed")
    answers("$and")
    assert kept(place) == 2


def test_where_code_may_be_changed_from_within_nothing_is_kept(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Door, "open", False)
    assert answers("$and") == [0, 0, 0, 1]
    assert not kept(place)
