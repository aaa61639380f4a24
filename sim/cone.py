"""Why a net is as it is: which inputs, registers, memories and source lines made it so, and when each last moved.

A bit counts if the net would be another without it: each operand bit of a cell is turned over, by itself, and the cell
evaluated anew. Where no one bit is enough (two ones on an OR), all of them count. A register goes back to what it took
at the update in which it last moved: to its data before that edge, or to what forces it now.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from .evaluate import evaluate
from .frozen import frozen
from .netlist import Cell, Netlist, Register, Slice, Word, source_line
from .simulation import Simulation
from .state import assemble

#: Causes that are followed; what lies behind them is left out.
MOST_CAUSES = 200
#: Kinds of causes, in the order in which they are told.
KINDS = ("register", "memory", "input")
POWER_UPS: tuple[Literal[0, 1], ...] = (0, 1)


@frozen
class Cause:
    """Something that counts: `width` bits from bit `low` of `name`, which hold `value`.

    `kind` is input, register or memory. `moved` is the update in which these bits came to hold that, None where they
    have done so from the beginning, or where that is not known, as of memories. `places` are the source lines by which
    it came to hold it, `causes` what counted then.
    """

    name: str
    kind: str
    low: int
    width: int
    value: int
    moved: int | None = None
    places: tuple[str, ...] = ()
    causes: tuple[Cause, ...] = ()


@frozen
class Why:
    """What counts for one word: its value, the source lines between it and its causes, and these.

    `alike` says whether it has this value from both power-ups; the causes are those from all zero.
    """

    value: int
    alike: bool
    places: tuple[str, ...]
    causes: tuple[Cause, ...]


class Cones:
    """A run of one netlist by updates of one port; it answers for any word after any update.

    It is run from two power-ups, all zero and all one: a register that comes to a level by a restart has moved in one
    of them, whatever it held before.
    """

    def __init__(self, simulation: Simulation, port: str, rows: NDArray[np.unsignedinteger[Any]]) -> None:
        self.netlist, self._sim = simulation.netlist, simulation
        self._port, self._rows = port, rows
        self._cells = {cell.output: cell for cell in self.netlist.cells}
        self._registers = {register.output: register for register in self.netlist.registers}
        self._ports = {value: name for name, value in self.netlist.inputs.items()}
        self._columns: dict[tuple[int, Literal[0, 1]], NDArray[Any] | None] = {}
        self._left = MOST_CAUSES

    def why(self, word: Word, row: int, depth: int = 3) -> Why:
        """Why a word is as it is after update `row`, through `depth` registers one behind another."""
        self._left = MOST_CAUSES
        now = self._look(row, 0)
        leaves, places = now.counts(word, (1 << word.width) - 1)
        alike = self._look(row, 1).value(word) == now.value(word)
        return Why(now.value(word), alike, places, self._causes(now, leaves, row, depth))

    # From leaf to leaf

    def _causes(self, now: _Look, leaves: Mapping[int, int], row: int, depth: int) -> tuple[Cause, ...]:
        found: list[Cause] = []
        for value, mask in sorted(leaves.items()):
            if value in self._ports:
                name = self._ports[value]
                for bit in (bit for bit in range(mask.bit_length()) if mask >> bit & 1):
                    moved = self._moved(value, 1 << bit, row)[0]
                    found.append(Cause(name, "input", bit, 1, now.known[value] >> bit & 1, moved))
            elif value in self._registers:
                self._left -= 1
                if self._left > 0:
                    found.append(self._register(self._registers[value], mask, now, row, depth))
            elif value < 0:
                number, index = divmod(-1 - value, 1 << 32)
                memory = self.netlist.memories[number]
                low, width = _hull(mask)
                held = now.memories[number][index] >> low & (1 << width) - 1
                found.append(Cause(f"{memory.name}[{index + memory.offset}]", "memory", low, width, held))
        return tuple(sorted(found, key=lambda cause: (KINDS.index(cause.kind), cause.name, cause.low)))

    def _register(self, register: Register, mask: int, now: _Look, row: int, depth: int) -> Cause:
        low, width = _hull(mask)
        value = now.known[register.output] >> low & (1 << width) - 1
        moved, power_up = self._moved(register.output, mask, row)

        def cause(places: tuple[str, ...], causes: tuple[Cause, ...] = ()) -> Cause:
            name = register.name or f"register {register.output}"
            return Cause(name, "register", low, width, value, moved, places, causes)

        if moved is None or depth <= 0:
            return cause((source_line(register.src),) if register.src else ())
        after = self._look(moved, power_up)
        forced = [override for override in register.overrides if after.value(override.mask) & mask]
        if forced or register.clock is None:
            words = [word for override in forced for word in (override.mask, override.value)]
            leaves, places = after.counts_of(words, mask)
            return cause(places, self._causes(after, leaves, moved, depth - 1))
        before = self._look(moved - 1, power_up, int(self._rows[moved]))
        leaves, places = before.counts(register.data, mask)
        return cause(places, self._causes(before, leaves, moved - 1, depth - 1))

    def _moved(self, value: int, mask: int, row: int) -> tuple[int | None, Literal[0, 1]]:
        """The last update up to `row` in which bits of a value changed, and from which power-up they did.

        None where they never did, or where it cannot be told.
        """
        if value in self._ports:
            return (self._last(self._rows, mask, row, 0) if self._ports[value] == self._port else None), 0
        latest: tuple[int | None, Literal[0, 1]] = None, 0
        for power_up in POWER_UPS:
            column = self._column(value, power_up)
            moved = None if column is None else self._last(column[1:], mask, row, int(column[0]))
            if moved is not None and (latest[0] is None or moved > latest[0]):
                latest = moved, power_up
        return latest

    @staticmethod
    def _last(column: NDArray[Any], mask: int, row: int, first: int) -> int | None:
        part = column[: row + 1] & column.dtype.type(mask)
        changed = np.flatnonzero(part[1:] != part[:-1])
        if len(changed):
            return int(changed[-1]) + 1
        return 0 if len(part) and int(part[0]) != first & mask else None

    def _column(self, value: int, power_up: Literal[0, 1]) -> NDArray[Any] | None:
        """A register at power-up and after each update; None for one that has no name or is too wide."""
        key = value, power_up
        if key not in self._columns:
            name, width = self._registers[value].name, self.netlist.widths[value]
            self._columns[key] = None
            if width <= 64 and self.netlist.names.get(name) == Word.value(value, width):
                self._begin(power_up)
                first = self._sim.get(name)
                rest = self._sim.run_samples(self._port, self._rows, name)
                self._columns[key] = np.concatenate((np.array([first], rest.dtype), rest))
        return self._columns[key]

    def _begin(self, power_up: Literal[0, 1]) -> None:
        self._sim.power_cycle(power_up)
        self._sim.settle()

    def _look(self, row: int, power_up: Literal[0, 1], inputs: int | None = None) -> _Look:
        """The netlist after an update, -1 for power-up; with other `inputs`, as it is before the edges they make."""
        self._begin(power_up)
        if row >= 0:
            self._sim.run_samples(self._port, self._rows[: row + 1], next(iter(self.netlist.outputs)))
        known = self._sim.held()
        if inputs is not None:
            known[self.netlist.inputs[self._port]] = inputs
        memories = [self._sim.peek_memory(memory.name) for memory in self.netlist.memories]
        return _Look(self.netlist, self._cells, known, memories)


class _Look:
    """One moment: the values that are held, and from them any other."""

    def __init__(
        self,
        netlist: Netlist,
        cells: dict[int, Cell],
        known: dict[int, int],
        memories: Sequence[Sequence[int]],
    ) -> None:
        self.netlist, self._cells, self.known, self.memories = netlist, cells, known, memories
        self._held = frozenset(known)

    def value(self, word: Word) -> int:
        self._settle(word.values())
        return assemble(word, self.known)

    def _settle(self, values: Iterable[int]) -> None:
        """Work out these values and what they need, without recursion."""
        waiting = [value for value in values if value not in self.known]
        while waiting:
            cell = self._cells[waiting[-1]]
            missing = [value for word in cell.operands for value in word.values() if value not in self.known]
            if missing:
                waiting += missing
            else:
                waiting.pop()
                self.known[cell.output] = self._evaluated(
                    cell, [assemble(word, self.known) for word in cell.operands]
                )

    def _evaluated(self, cell: Cell, operands: list[int]) -> int:
        params, widths = dict(cell.params), [word.width for word in cell.operands]
        if cell.kind == "read":
            number = cell.int_param("memory")
            params["offset"] = self.netlist.memories[number].offset
            operands = [*operands, *self.memories[number]]
        return evaluate(cell.kind, params, operands, widths, self.netlist.widths[cell.output])

    def counts(self, word: Word, mask: int) -> tuple[dict[int, int], tuple[str, ...]]:
        """Masks of the bits of what is held that count for bits of a word, by value; and the source lines in between.

        Row r of memory m is value -1 - (m << 32 | r).
        """
        return self.counts_of([word], mask)

    def counts_of(self, words: Iterable[Word], mask: int) -> tuple[dict[int, int], tuple[str, ...]]:
        """The same for several words."""
        leaves: dict[int, int] = {}
        done: dict[int, int] = {}
        lines: dict[str, None] = {}
        waiting: list[tuple[int, int]] = []
        for word in words:
            self._settle(word.values())
            waiting += _needed(word, mask)
        while waiting:
            value, bits = waiting.pop()
            bits &= ~done.get(value, 0)
            if not bits:
                continue
            done[value] = done.get(value, 0) | bits
            if value in self._held:
                leaves[value] = leaves.get(value, 0) | bits
                continue
            cell = self._cells[value]
            if cell.src:
                lines[source_line(cell.src)] = None
            if cell.kind == "read":
                number = cell.int_param("memory")
                index = assemble(cell.operands[0], self.known) - self.netlist.memories[number].offset
                if 0 <= index < self.netlist.memories[number].size and self.netlist.memories[number].writes:
                    leaves[-1 - (number << 32 | index)] = leaves.get(-1 - (number << 32 | index), 0) | bits
            for word, needed in zip(cell.operands, self._sensitive(cell, bits), strict=True):
                waiting += _needed(word, needed)
        return leaves, tuple(sorted(lines, key=_in_order))

    def _sensitive(self, cell: Cell, bits: int) -> list[int]:
        """For each operand of a cell the bits that count for these bits of its output."""
        operands = [assemble(word, self.known) for word in cell.operands]
        now = self.known[cell.output]
        found = []
        for number, word in enumerate(cell.operands):
            needed = 0
            for bit in range(word.width):
                turned = [*operands]
                turned[number] ^= 1 << bit
                if (self._evaluated(cell, turned) ^ now) & bits:
                    needed |= 1 << bit
            found.append(needed)
        return found if any(found) else [(1 << word.width) - 1 for word in cell.operands]


def _hull(mask: int) -> tuple[int, int]:
    """Lowest bit and width of the least run of bits that holds a mask."""
    low = (mask & -mask).bit_length() - 1
    return low, mask.bit_length() - low


def _needed(word: Word, mask: int) -> list[tuple[int, int]]:
    """The values that these bits of a word read, with the bits of each."""
    found, at = [], 0
    for part in word.parts:
        bits = mask >> at & (1 << part.width) - 1
        if isinstance(part, Slice) and bits:
            found.append((part.value, bits << part.low))
        at += part.width
    return found


def _in_order(place: str) -> tuple[str, int]:
    file, _, line = place.rpartition(":")
    return file, int(line) if line.isdecimal() else 0
