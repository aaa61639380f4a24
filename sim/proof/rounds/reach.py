"""What reaches the clocks of a netlist: bits and input lines."""

from __future__ import annotations

from collections.abc import Iterable

from ...netlist import Netlist, Slice, Word
from ...state import is_wiring

#: A clock and whether its rising edge counts.
Clock = tuple[Word, bool]
#: A bit of a value.
BitOf = tuple[int, int]


def clocks(netlist: Netlist) -> tuple[Clock, ...]:
    """Every clock of a register or a memory, once."""
    found = [(r.clock, r.rising) for r in netlist.registers if not is_wiring(r)]
    found += [(port.clock, port.rising) for memory in netlist.memories for port in memory.writes]
    return tuple(dict.fromkeys((word, rising) for word, rising in found if word is not None))


def bits_of(word: Word) -> Iterable[BitOf]:
    """The bits that a word reads."""
    for part in word.parts:
        if isinstance(part, Slice):
            yield from ((part.value, part.low + at) for at in range(part.width))


class Reach:
    """Walks from clocks back to what moves them."""

    def __init__(self, netlist: Netlist, cuts: Iterable[int]) -> None:
        self._netlist, self._cuts = netlist, frozenset(cuts)
        self._cells = {cell.output: cell for cell in netlist.cells}
        self._registers = {r.output: r for r in netlist.registers if r.overrides}

    def behind(self, word: Word) -> tuple[frozenset[BitOf], bool]:
        """The bits of inputs, registers and loops behind a clock, and whether a memory is read on the way."""
        found: set[BitOf] = set()
        seen: set[int] = set()
        reads = False
        work = list(bits_of(word))
        while work:
            bit = work.pop()
            cell = None if bit[0] in self._cuts else self._cells.get(bit[0])
            if cell is None:
                found.add(bit)
            elif bit[0] not in seen:
                seen.add(bit[0])
                reads |= cell.kind == "read"
                work += [each for operand in cell.operands for each in bits_of(operand)]
        return frozenset(found), reads

    def lines(self, words: Iterable[Word]) -> frozenset[BitOf]:
        """The input bits from which a move can come to one of these words before any clock has its edge."""
        inputs = set(self._netlist.inputs.values())
        found: set[BitOf] = set()
        seen: set[int] = set()
        work = [bit for word in words for bit in bits_of(word)]
        while work:
            value, place = work.pop()
            if value in inputs:
                found.add((value, place))
            elif value not in seen:
                seen.add(value)
                work += [bit for word in self._words(value) for bit in bits_of(word)]
        return frozenset(found)

    def _words(self, value: int) -> list[Word]:
        if value in self._registers:
            return list(self._registers[value].forcing)
        cell = self._cells.get(value)
        if cell is None:
            return []
        words = list(cell.operands)
        if cell.kind == "read":
            ports = self._netlist.memories[cell.int_param("memory")].writes
            open_ports = [port for port in ports if port.clock is None]
            words += [word for port in open_ports for word in port.operands]
        return words
