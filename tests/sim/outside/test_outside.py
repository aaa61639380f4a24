"""Circuits from outside: each is read or refused with a reason, and agrees with Icarus Verilog or is listed."""

from __future__ import annotations

import os
import random
import subprocess
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim import Simulation
from forelight.sim.allowance import SECONDS_VARIABLE
from forelight.sim.errors import ForelightError
from forelight.sim.netlist import Netlist

from ..fidelity.comparison import Design, Tally, compare
from ..icarus import needs_icarus
from .circuits import FOLDER, File, Text, files
from .common_state import start
from .driving import rows
from .known import KNOWN
from .wanted import WANTED

STEPS = 1000
#: The share of the output bits that Icarus must know, else a circuit is undecided.
LEAST = 0.2
FILES = files()
#: Yosys does not come to an end here; it need not take the minute that a person would give it.
IMPATIENT = {"yosys arch/common/blockrom.v": 5}

needs_circuits = pytest.mark.skipif(
    not FOLDER, reason="FORELIGHT_OUTSIDE is not the folder of Debian's source package yosys (see .ci/run)"
)
pytestmark = [needs_icarus, needs_circuits, pytest.mark.slow]


@pytest.mark.parametrize("file", FILES, ids=str)
def test_every_circuit(
    file: File,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    record_property: Callable[[str, object], None],
) -> None:
    """The table in `known.py` says what becomes of each circuit that does not agree, and nothing else does."""
    monkeypatch.setenv(SECONDS_VARIABLE, str(IMPATIENT.get(file.label, 60)))
    text = Text(file, tmp_path)
    surprises = []
    for number, top in enumerate(text.tops()):
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "only.v").write_text(text.only(top))
        name = top.removeprefix("\\")
        label = f"{file.label}:{name}"
        outcome, words, compared = _outcome(file, name, label, folder)
        print(f"{label} {outcome}: {words}")
        expected, reason = KNOWN.get(label, ("shows nothing" if outcome == "shows nothing" else "agrees", ""))
        record_property("outside", [outcome, label, reason, *compared])
        if outcome != expected:
            surprises.append(f"{label}: {expected} expected, {outcome}: {words}")
    assert not surprises


def _outcome(file: File, top: str, label: str, folder: Path) -> tuple[str, str, tuple[int, int]]:
    """What becomes of a circuit, in which words, and how many output bits were compared, of how many."""
    try:
        netlist = read([file.path, *file.beside], top=top)
    except ForelightError as error:
        empty = "is a black box or empty" in str(error)
        return "shows nothing" if empty else "refused", str(error), (0, 0)
    if not netlist.outputs:
        return "shows nothing", "no outputs", (0, 0)
    source = folder / "only.v"
    wrong = _complaint(source, top)
    if wrong:
        return "not compared", wrong, (0, 0)
    try:
        tally = _compared(label, netlist, source)
    except AssertionError as error:
        return "differs", str(error), (0, 0)
    known = tally.compared >= LEAST * tally.bits
    return "agrees" if known else "undecided", str(tally), (tally.compared, tally.bits)


def _complaint(source: Path, top: str) -> str:
    """What Icarus has against a circuit, if anything."""
    command = ["iverilog", "-g2009", "-t", "null", "-s", top, str(source)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)
    return done.stderr.strip() if done.returncode else ""


def _rows(label: str, netlist: Netlist) -> Iterator[dict[str, int]]:
    seed = zlib.crc32((label + os.environ.get("FORELIGHT_SEED", "")).encode())
    print("seed", seed)
    return rows(random.Random(seed), netlist, STEPS, WANTED.get(label, {}))


def _compared(label: str, netlist: Netlist, source: Path) -> Tally:
    return _under_both(netlist, source, list(_rows(label, netlist)))


def _under_both(netlist: Netlist, source: Path, driven: Sequence[Mapping[str, int]]) -> Tally:
    sim = Simulation(netlist, power_up="init")
    sim.set_many(driven[0])
    sim.settle()
    begin = start(netlist, sim, [source], source.parent)
    return compare(netlist, Design([source], netlist.name, start=begin), driven, source.parent)


@pytest.mark.parametrize("name", ["aldff", "aldffe", "dffsr"])
def test_asynchronous_loads_and_sets_agree_where_no_level_acts_alone(name: str, tmp_path: Path) -> None:
    """The circuits that `known.py` says differ: with data at rest while it loads, and no clear that ends in a set."""
    (file,) = (file for file in FILES if file.label == f"yosys sim/{name}.v")
    netlist = read(file.path, top=name)
    driven, before = [], dict.fromkeys(netlist.inputs, 0)
    for wished in _rows(name, netlist):
        row = dict(wished)
        if row.get("aload", 0):
            row["ad"] = before["ad"]
        if row.get("clr", 0) or before.get("clr", 0):
            row["set"] = 0
        driven.append(row)
        before = row
    source = tmp_path / "only.v"
    source.write_text(Text(file, tmp_path).only(name))
    tally = _under_both(netlist, source, driven)
    print(tally)
    assert tally.compared == tally.bits
    assert tally.moved == tally.lines


def test_at_least_97_percent_are_read() -> None:
    """Of the files, of which many hold several circuits: the refused circuits among all would be a smaller share."""
    refused = [label for label, (outcome, _) in KNOWN.items() if outcome == "refused"]
    print(f"{len(FILES)} files, {len(refused)} circuits refused")
    assert len(FILES) >= 150
    assert {file.label.partition(" ")[0] for file in FILES} == {"yosys", "circuitgraph", "serv", "picorv32"}
    assert len(refused) <= 0.03 * len(FILES)


def test_the_table_names_circuits_that_are_there(tmp_path: Path) -> None:
    named = {label.rpartition(":")[0] for label in KNOWN}
    found = [file for file in FILES if file.label in named]
    assert set(KNOWN) <= {
        f"{file.label}:{top.removeprefix(chr(92))}" for file in found for top in Text(file, tmp_path).tops()
    }
