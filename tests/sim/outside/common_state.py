"""Verilog that gives a circuit under Icarus Verilog the state that Forelight begins with."""

from __future__ import annotations

import itertools
import re
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from forelight.sim import Simulation
from forelight.sim.netlist import Netlist, Register, Slice, Word

#: Rows of a memory that are set one by one; of a larger memory the rest stays x.
_ROWS = 4096


@dataclass(frozen=True)
class _Value:
    """What a variable begins with; the source itself states the bits of `stated`, if any."""

    bits: int
    width: int
    stated: int = 0

    def number(self, mask: int = -1) -> str:
        return f"{self.width}'h{self.bits & mask:x}"


@dataclass(frozen=True)
class _Item:
    """A variable or net that holds state, by its path; `values` has a path for each element of an array."""

    path: str
    values: Mapping[str, _Value]

    @property
    def first(self) -> str:
        return next(iter(self.values))

    def moved(self, block: str, other: str) -> _Item:
        """The same under another name of the block that it stands in."""
        values = {other + path.removeprefix(block): value for path, value in self.values.items()}
        return _Item(other + self.path.removeprefix(block), values)


def start(netlist: Netlist, sim: Simulation, sources: Sequence[Path], folder: Path) -> str:
    """Statements that look what the source states, and then put all state to what it is in `sim`, inputs of row 0.

    What is forced holds until all is set, so that the edges which forcing makes change nothing. Elements of
    arrays cannot be forced: they are written last.
    """
    items = _Judge(netlist, sources, folder).found([*_states(netlist, sim), *_memories(netlist)])
    values = {path: value for item in items for path, value in item.values.items()}
    plain = {path: value for path, value in values.items() if not path.endswith("]")}
    rows = {path: value for path, value in values.items() if path.endswith("]")}
    lines = ["#5;", *(_look(path, value) for path, value in values.items() if value.stated)]
    lines += ["row = rows[0]; #5;", *(f"force {path} = {value.number()};" for path, value in plain.items())]
    lines += ["#2;", *(f"{path} = {value.number()};" for path, value in rows.items())]
    return "\n".join([*lines, *(f"release {path};" for path in plain), "#3;"])


def _look(path: str, value: _Value) -> str:
    """A complaint, which fails the comparison, unless the variable begins with what the source states."""
    mask = f"{value.width}'h{value.stated:x}"
    return (
        f"if (({path} & {mask}) !== {value.number(value.stated)})"
        f' $display("differs at the start: {path} %b, not {value.number()}", {path});'
    )


def _states(netlist: Netlist, sim: Simulation) -> Iterator[_Item]:
    """Every name that holds state."""
    state = {register.output: register for register in netlist.registers}
    for name, word in netlist.names.items():
        path = _path(name)
        if path and word.width and state.keys() & set(word.values()):
            value = _Value(sim.get(name), word.width, _stated(word, state))
            yield _Item(path, {path: value})


def _stated(word: Word, state: Mapping[int, Register]) -> int:
    """The bits of a word that are registers whose first value the source states; latches move before a first look."""
    mask = at = 0
    for part in word.parts:
        register = state.get(part.value) if isinstance(part, Slice) else None
        if isinstance(part, Slice) and register and register.clock and not register.overrides:
            mask |= (~register.init.undefined >> part.low & (1 << part.width) - 1) << at
        at += part.width
    return mask


def _memories(netlist: Netlist) -> Iterator[_Item]:
    """Every memory, with its first contents."""
    for memory in netlist.memories:
        path = _path(memory.name)
        if path and memory.width:
            yield _Item(
                path,
                {
                    f"{path}[{memory.offset + n}]": _Value(
                        row.bits, row.width, ~row.undefined & (1 << row.width) - 1
                    )
                    for n, row in enumerate(memory.init[:_ROWS])
                },
            )


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
