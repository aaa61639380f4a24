"""The same lanes as C, by the vector extension of gcc: how fast this machine can be expected to run them."""

from __future__ import annotations

import ctypes
import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path

from forelight.sim.lane_netlist import Widened
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
        clock = Word.value(next(iter(self.netlist.inputs.values())), 8).bit(bit)
        assert self.lanes % 64 == 0 and len(self.netlist.inputs) == 1
        assert all(r.clock == clock and r.rising and not r.overrides for r in self.netlist.registers)
        self.constants: dict[int, str] = {}
        (folder / "lanes.c").write_text(self._text(inputs & ~(1 << bit), 1 << bit))
        command = ["gcc", *FAST, "-shared", "-fPIC", "lanes.c", "-o", "lanes.so"]
        subprocess.run(command, cwd=folder, check=True)
        self.call = ctypes.CDLL(str(folder / "lanes.so")).clock_lanes

    def run(self, states: Sequence[int], cycles: int) -> int:
        """The lanes that ever differ from lane 0 in so many cycles, from these states of the registers."""
        size = self.lanes // 8
        held = ctypes.create_string_buffer(b"".join(each.to_bytes(size, "little") for each in states))
        found = ctypes.create_string_buffer(size)
        self.call(held, found, ctypes.c_long(cycles))
        return int.from_bytes(found.raw[:size], "little")

    def _text(self, inputs: int, clock: int) -> str:
        registers = self.netlist.registers
        rise, fall = self._cone([r.data for r in registers]), self._cone([self.differs])
        body = [f"long v0 = {inputs | clock};", *self._loads("now"), *map(self._cell, rise)]
        body += [f"next[{n}] = {self._word(r.data)};" for n, r in enumerate(registers)]
        after = [f"long v0 = {inputs};", *self._loads("next"), *map(self._cell, fall)]
        after += [f"found |= {self._word(self.differs)};"]
        swap = "V *other = now; now = next; next = other;"
        loop = _joined(["{", *body, "}", "{", *after, "}", swap])
        rows = ", ".join(self.constants.values())
        return (
            f"#include <string.h>\ntypedef unsigned long long V __attribute__((vector_size({self.lanes // 8})));\n"
            f"static const V K[] = {{{rows or '{0}'}}};\nstatic V one[{len(registers)}], two[{len(registers)}];\n"
            "void clock_lanes(const void *states, void *differs, long cycles) {\n"
            "V *restrict now = one, *restrict next = two, found = {0};\nmemcpy(one, states, sizeof one);\n"
            f"for (long cycle = 0; cycle < cycles; cycle++) {{\n{loop}}}\nmemcpy(differs, &found, sizeof found);\n}}\n"
        )

    def _cone(self, words: Iterable[Word]) -> list[Cell]:
        wanted = self.plan.graph.cone(words)
        return [self.netlist.cells[node] for node in self.plan.order if node in wanted]

    def _loads(self, base: str) -> list[str]:
        return [f"V v{r.output} = {base}[{n}];" for n, r in enumerate(self.netlist.registers)]

    def _cell(self, cell: Cell) -> str:
        wide = self.netlist.widths[cell.output] > 1
        operands = [self._word(word) for word in cell.operands]
        if cell.kind == "$pos":
            made = f"(V){{0}} - (unsigned long long){operands[0]}" if wide else operands[0]
        elif cell.kind == "$not":
            made = f"~{operands[0]}" if wide else f"{operands[0]} ^ 1"
        elif cell.kind == "$bwmux":
            made = f"{operands[0]} & ~{operands[2]} | {operands[1]} & {operands[2]}"
        elif cell.kind == "$mux":
            made = f"{operands[2]} ? {operands[1]} : {operands[0]}"
        elif cell.kind == "$buf":
            made = operands[0]
        else:
            made = f" {_WISE[cell.kind]} ".join(operands)
        return f"{'V' if wide else 'long'} v{cell.output} = {made};"

    def _word(self, word: Word) -> str:
        (part,) = word.parts
        if isinstance(part, Slice):
            whole = part.width == self.netlist.widths[part.value]
            if whole:
                return f"v{part.value}"
            assert part.width == 1
            wide = self.netlist.widths[part.value] == self.lanes
            return f"(long)(v{part.value}[0] & 1)" if wide else f"(v{part.value} >> {part.low} & 1)"
        if part.width == 1:
            return str(part.bits)
        if part.bits not in self.constants:
            limbs = (part.bits >> at & (1 << 64) - 1 for at in range(0, part.width, 64))
            self.constants[part.bits] = "{" + ", ".join(f"{limb}ull" for limb in limbs) + "}"
        return f"K[{list(self.constants).index(part.bits)}]"


def _joined(lines: Sequence[str]) -> str:
    return "".join(f"{line}\n" for line in lines)
