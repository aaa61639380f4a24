"""Verilog that gives a circuit under Icarus Verilog the state that Forelight begins with."""

from __future__ import annotations

import itertools
import re
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from forelight.sim import Simulation
from forelight.sim.netlist import Netlist

#: Rows of a memory that are set one by one; of a larger memory the rest stays x.
_ROWS = 4096


@dataclass(frozen=True)
class _Item:
    """A variable or net that holds state, by its path; `values` by path where it is an array."""

    path: str
    values: dict[str, str]

    @property
    def first(self) -> str:
        return next(iter(self.values))

    @property
    def array(self) -> bool:
        return self.first.endswith("]")

    def moved(self, block: str, other: str) -> _Item:
        """The same under another name of the block that it stands in."""
        values = {other + path.removeprefix(block): value for path, value in self.values.items()}
        return _Item(other + self.path.removeprefix(block), values)


def start(netlist: Netlist, sim: Simulation, sources: Sequence[Path], folder: Path) -> str:
    """Statements that put all state to what it is in `sim`, the inputs being those of the first row.

    What is forced holds until all is set, so that the edges which forcing makes change nothing. Elements of
    arrays cannot be forced: they are written last.
    """
    judge = _Judge(netlist, sources, folder)
    items = judge.found([*_states(netlist, sim), *_memories(netlist)])
    plain = [item.path for item in items if not item.array]
    values = {path: value for item in items for path, value in item.values.items()}
    force = [f"force {path} = {values[path]};" for path in plain]
    write = [f"{path} = {value};" for path, value in values.items() if path.endswith("]")]
    return "\n".join(
        ["row = rows[0]; #5", *force, "#2;", *write, *(f"release {path};" for path in plain), "#3;"]
    )


def _states(netlist: Netlist, sim: Simulation) -> list[_Item]:
    """Every name that holds state."""
    state = {register.output for register in netlist.registers}
    found = []
    for name, word in netlist.names.items():
        path = _path(name)
        if path and word.width and state & set(word.values()):
            found.append(_Item(path, {path: f"{word.width}'h{sim.get(name):x}"}))
    return found


def _memories(netlist: Netlist) -> list[_Item]:
    """Every memory, with its first contents."""
    found = []
    for memory in netlist.memories:
        path = _path(memory.name)
        if path and memory.width:
            rows = enumerate(memory.init[:_ROWS])
            values = {f"{path}[{memory.offset + n}]": f"{memory.width}'h{row.bits:x}" for n, row in rows}
            found.append(_Item(path, values))
    return found


def _path(name: str) -> str:
    """A name of the netlist as a hierarchical name of Verilog; empty for names that no source has."""
    if not name or "$" in name or " " in name:
        return ""
    steps = (
        step if re.fullmatch(r"[a-zA-Z_]\w*(\[\d+\])*", step) else f"\\{step} " for step in name.split(".")
    )
    return ".".join(("dut", *steps))


#: An unnamed generate block. IEEE 1364-2005, 12.4.3, numbers them; Icarus 11 counts every `else` branch as well.
_BLOCK = re.compile(r"\bgenblk\d+")
#: Numbers that are tried for such a block.
_NUMBERS = range(1, 13)


class _Judge:
    """Icarus, asked which names it has in a circuit."""

    def __init__(self, netlist: Netlist, sources: Sequence[Path], folder: Path) -> None:
        self.head = ["module probe;", f"\\{netlist.name} dut ();", "initial begin"]
        self.sources = sources
        self.probe = folder / "probe.v"

    def has(self, paths: Sequence[str]) -> list[bool]:
        reads = [f"$display({path});" for path in paths]
        self.probe.write_text("\n".join([*self.head, *reads, "end endmodule"]))
        sources = map(str, (*self.sources, self.probe))
        command = ["iverilog", "-g2009", "-t", "null", "-s", "probe", *sources]
        said = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60).stderr
        wrong = {int(number) - len(self.head) - 1 for number in re.findall(r"probe\.v:(\d+): error", said)}
        return [at not in wrong for at in range(len(paths))]

    def found(self, items: Sequence[_Item]) -> list[_Item]:
        """Those that it has, under its own names for unnamed blocks."""
        has = self.has([item.first for item in items])
        kept = [item for item, known in zip(items, has, strict=True) if known]
        lost = [item for item, known in zip(items, has, strict=True) if not known]
        names: dict[str, str] = {}
        for item in lost:
            block = _block(item.path)
            if block and block not in names:
                tail = item.first.removeprefix(block)
                others = _renumbered(block)
                there = self.has([other + tail for other in others])
                hits = [other for other, known in zip(others, there, strict=True) if known]
                names[block] = hits[0] if len(hits) == 1 else ""
        return kept + [item.moved(b, names[b]) for item in lost if names.get(b := _block(item.path))]


def _block(path: str) -> str:
    """A path up to its last unnamed block; empty if there is none."""
    ends = [match.end() for match in _BLOCK.finditer(path)]
    return path[: ends[-1]] if ends else ""


def _renumbered(block: str) -> list[str]:
    """The path of a block with all numbers that its unnamed blocks might have."""
    parts = _BLOCK.split(block)
    choices = itertools.product(_NUMBERS, repeat=len(parts) - 1)
    return [
        "".join(f"{part}genblk{number}" for part, number in zip(parts[:-1], numbers, strict=True))
        for numbers in choices
    ]
