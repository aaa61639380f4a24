"""One look at the cells of a netlist: draws what they make of given bits, as far as it is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

from ...frozen import frozen
from ...gates.arithmetic import Bits
from ...gates.builder import ZERO, Bit
from ...gates.cells import GateMaker, draw
from ...gates.memories import row_at
from ...netlist import Cell, Netlist, Slice, Word
from ...schedule import Schedule
from ..roms import Roms
from .waves import WILD, WaveBuilder


@frozen
class Source:
    """A netlist with its schedule, and what gates and large tables are drawn with."""

    netlist: Netlist
    plan: Schedule
    to: WaveBuilder
    roms: Roms

    @cached_property
    def makers(self) -> Mapping[int, Cell]:
        return {cell.output: cell for cell in self.netlist.cells}

    @cached_property
    def position(self) -> Mapping[int, int]:
        """The values of cells, each with its place in the order of the schedule."""
        cells = self.netlist.cells
        return {cells[node].output: at for at, node in enumerate(self.plan.order) if node < len(cells)}


class View:
    """The cells of a netlist over given bits of inputs, registers and loops (by value) and of memories (by number).

    A memory that is None shows nothing that is known, or is a large table of `roms`.
    """

    def __init__(self, source: Source, sources: Mapping[int, Bits], memories: Sequence[Bits | None]) -> None:
        self._netlist, self._to, self._roms = source.netlist, source.to, source.roms
        self._nets = dict(sources)
        self._memories = memories
        self._makers, self._position = source.makers, source.position

    def bits(self, word: Word) -> Bits:
        """The bits of a word, with all cells that it needs."""
        self._need(value for value in word.values())
        found: Bits = []
        for part in word.parts:
            if isinstance(part, Slice):
                found += self._nets[part.value][part.low : part.low + part.width]
            else:
                found += self._to.constant(part)
        return found

    def cell(self, value: int) -> Bits:
        """What the cell that closes a loop makes of the loop's bits."""
        return self._drawn(self._makers[value])

    def _need(self, values: Iterable[int]) -> None:
        work = [value for value in values if value not in self._nets]
        wanted: set[int] = set()
        while work:
            value = work.pop()
            if value not in wanted:
                wanted.add(value)
                operands = self._makers[value].operands
                work += [v for word in operands for v in word.values() if v not in self._nets]
        for value in sorted(wanted, key=self._position.__getitem__):
            self._nets[value] = self._drawn(self._makers[value])

    def _drawn(self, cell: Cell) -> Bits:
        self._to.rails.src = cell.src
        operands = [self.bits(word) for word in cell.operands]
        if cell.kind == "read":
            return self._read(cell, operands[0])
        return draw(GateMaker(cell, operands, self._to, self._netlist.widths[cell.output]))

    def _read(self, cell: Cell, address: Bits) -> Bits:
        number, to = cell.int_param("memory"), self._to
        memory, contents = self._netlist.memories[number], self._memories[number]
        if contents is not None:
            width = memory.width
            rows = [contents[row * width : (row + 1) * width] for row in range(memory.size)]
            return row_at(to, memory, rows, address)
        if memory.writes:
            return [to.wave(*WILD)] * memory.width
        moves = to.rails.any_of([move for bit in address for move in to.moves(bit)])
        return [self._moving(bit, moves) for bit in self._roms.read(number, memory, cell, address)]

    def _moving(self, bit: Bit, moves: Bit) -> Bit:
        """A bit of a large table: under a moving address it may be anything meanwhile."""
        either = self._to.rails.either
        may0, may1 = self._to.pair(bit)
        return bit if moves == ZERO else self._to.wave(either(may0, moves), either(may1, moves), moves, moves)
