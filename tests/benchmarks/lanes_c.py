"""The same lanes as C, by the vector extension of gcc: how fast this machine can be expected to run them."""

from __future__ import annotations

import ctypes
import subprocess
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from forelight.sim.lanes.rewrite import Widened
from forelight.sim.netlist import Cell, Slice, Word
from forelight.sim.schedule import schedule

from .build import FAST

_WISE = {"$and": "&", "$or": "|", "$xor": "^"}


class LanesInC:
    """Lanes of a netlist whose registers all move at the rise of one bit of one input, and have no overrides."""

    def __init__(self, widened: Widened, inputs: int, bit: int, folder: Path) -> None:
        self.netlist, self.differs = widened.netlist, widened.differs
        self.lanes = self.differs.width
        self.plan = schedule(self.netlist)
        (self.port,) = self.netlist.inputs.values()
        clock = Word.value(self.port, self.netlist.widths[self.port]).bit(bit)
        assert all(r.clock == clock and r.rising and not r.overrides for r in self.netlist.registers)
        self.rows: dict[int, int] = {}  # constants, with their rows in a table
        (folder / "lanes.c").write_text(self._text(inputs & ~(1 << bit), inputs | 1 << bit))
        command = ["gcc", *FAST, "-shared", "-fPIC", "lanes.c", "-o", "lanes.so"]
        subprocess.run(command, cwd=folder, check=True)
        self.call = ctypes.CDLL(str(folder / "lanes.so")).clock_lanes

    def run(self, states: Sequence[int], cycles: int) -> int:
        """The lanes that ever differ from lane 0 in so many cycles, from these states of the registers."""
        size = self.lanes // 8
        held = ctypes.create_string_buffer(b"".join(each.to_bytes(size, "little") for each in states))
        found = ctypes.create_string_buffer(size)
        self.call(held, found, ctypes.c_long(cycles))
        return int.from_bytes(found.raw, "little")

    def _text(self, low: int, high: int) -> str:
        data = [register.data for register in self.netlist.registers]
        rise = [*self._cone("now", high, data)]
        rise += [f"next[{n}] = {self._word(word)};" for n, word in enumerate(data)]
        fall = [*self._cone("next", low, [self.differs]), f"found |= {self._word(self.differs)};"]
        limbs = range(0, self.lanes, 64)
        rows = (", ".join(f"{row >> at & (1 << 64) - 1}ull" for at in limbs) for row in self.rows)
        table = ", ".join(f"{{{row}}}" for row in rows) or "{0}"
        lines = [
            "#include <string.h>",
            f"typedef unsigned long long V __attribute__((vector_size({self.lanes // 8})));",
            f"static const V K[] = {{{table}}};",
            f"static V one[{len(data)}], two[{len(data)}];",
            "void clock_lanes(const void *states, void *differs, long cycles) {",
            "V *restrict now = one, *restrict next = two, found = {0};",
            "memcpy(one, states, sizeof one);",
            "for (long cycle = 0; cycle < cycles; cycle++) {",
            *("{", *rise, "}", "{", *fall, "}", "V *other = now; now = next; next = other;", "}"),
            "memcpy(differs, &found, sizeof found);",
            "}",
        ]
        return "".join(f"{line}\n" for line in lines)

    def _cone(self, state: str, inputs: int, words: Iterable[Word]) -> Iterator[str]:
        """What words need, from a copy of the state and a level of the inputs."""
        yield f"long v{self.port} = {inputs};"
        for n, register in enumerate(self.netlist.registers):
            yield f"V v{register.output} = {state}[{n}];"
        wanted = self.plan.graph.cone(words)
        yield from (self._cell(self.netlist.cells[node]) for node in self.plan.order if node in wanted)

    def _cell(self, cell: Cell) -> str:
        wide = self.netlist.widths[cell.output] > 1
        operands = [self._word(word) for word in cell.operands]
        if cell.kind == "$pos":
            made = f"(V){{0}} - (unsigned long long){operands[0]}"
        elif cell.kind == "$not":
            made = f"~{operands[0]}" if wide else f"{operands[0]} ^ 1"
        elif cell.kind == "$bwmux":
            made = f"{operands[0]} & ~{operands[2]} | {operands[1]} & {operands[2]}"
        else:
            made = f" {_WISE[cell.kind]} ".join(operands)
        return f"{'V' if wide else 'long'} v{cell.output} = {made};"

    def _word(self, word: Word) -> str:
        (part,) = word.parts
        if isinstance(part, Slice):
            if part.width == self.netlist.widths[part.value]:
                return f"v{part.value}"
            wide = self.netlist.widths[part.value] == self.lanes
            return f"(long)(v{part.value}[0] & 1)" if wide else f"(v{part.value} >> {part.low} & 1)"
        if part.width == 1:
            return str(part.bits)
        return f"K[{self.rows.setdefault(part.bits, len(self.rows))}]"
