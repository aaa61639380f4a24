"""What is open whatever happens, and what is open but never shown, both seen in a netlist before a run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import field

from ..frozen import mutable
from ..netlist import Cell, Netlist, Slice, Word
from .choices import CHOOSING, arms_of, is_undefined, selector_of

#: Cells of which one undefined bit of an operand leaves all of the output open (IEEE 1364-2005, 5.1.5 to 5.1.12); of a
#: shift or a select the second operand alone.
_RECKONED = frozenset(
    {"$add", "$sub", "$mul", "$div", "$mod", "$divfloor", "$modfloor", "$pow", "$neg", "$alu"}
    | {"$lt", "$le", "$eq", "$ne", "$ge", "$gt"}
)
#: Choices that are looked at for one word of a write.
_MOST_VISITS = 512
_MOVED = frozenset(("$shl", "$shr", "$sshl", "$sshr", "$shift", "$shiftx", "$bmux"))


def lost_for_good(netlist: Netlist) -> set[int]:
    """Values that are open whatever happens, as they are reckoned with x or with one another."""
    lost: set[int] = set()

    def touches(word: Word) -> bool:
        return is_undefined(word) or not lost.isdisjoint(word.values())

    while True:
        before = len(lost)
        for cell in netlist.cells:
            words = cell.operands
            asked = words if cell.kind in _RECKONED | {"read"} else words[1:2] if cell.kind in _MOVED else ()
            if any(map(touches, asked)):
                lost.add(cell.output)
        if len(lost) == before:
            return lost


def guarded(netlist: Netlist) -> set[int]:
    """Quotients and remainders that are read only where the divisor is not 0, as Amaranth writes them."""
    divisors = {
        cell.output: cell.operands[1]
        for cell in netlist.cells
        if cell.kind in ("$div", "$mod", "$divfloor", "$modfloor")
    }
    if not divisors:
        return set()
    tests = {cell.output: cell.operands[0] for cell in netlist.cells if cell.kind == "$reduce_bool"}
    reads: Counter[int] = Counter()
    behind: Counter[int] = Counter()
    for cell in netlist.cells:
        for word in cell.operands:
            reads.update(set(word.values()) & divisors.keys())
        if cell.kind != "$mux" or cell.operands[1].parts[1:]:
            continue
        select = cell.operands[2].parts[0]
        for value in cell.operands[1].values():
            tested = tests.get(select.value) if isinstance(select, Slice) else None
            behind[value] += value in divisors and tested == divisors[value]
    for register in netlist.registers:
        for word in register.words:
            reads.update(word.values())
    for memory in netlist.memories:
        for port in memory.writes:
            for word in port.words:
                reads.update(word.values())
    for word in netlist.outputs.values():
        reads.update(word.values())
    return {value for value in divisors if reads[value] == behind[value]}


def idle(netlist: Netlist) -> set[int]:
    """What chooses the words of writes, undefined only where nothing is written, and is read by nothing else."""
    makers = {cell.output: cell for cell in netlist.cells}
    found: set[int] = set()
    for memory in netlist.memories:
        for port in memory.writes:
            for word in (port.address, port.data):
                found |= _Writing(makers).idle(word, port.enable)
    read = (word for register in netlist.registers for word in register.words)
    cells = (word for cell in netlist.cells if cell.output not in found for word in cell.operands)
    outputs = netlist.outputs.values()
    return found.difference(
        value for words in (read, cells, outputs) for word in words for value in word.values()
    )


@mutable
class _Writing:
    """A look at one word of a write beside its enable, down the cells that choose both."""

    makers: Mapping[int, Cell]
    visits: int = 0
    met: set[int] = field(default_factory=set)

    def idle(self, word: Word, enable: Word) -> set[int]:
        """The cells that were met, if the word is undefined nowhere but where the enable is 0."""
        return self.met if self._harmless(word, enable, {}) else set()

    def _harmless(self, word: Word, enable: Word, path: Mapping[object, int]) -> bool:
        """The same where each selector in `path` chooses the arm of that number."""
        self.visits += 1
        cells = [self._maker(one) for one in (word, enable)]
        selectors = [None if cell is None else self._selector(cell) for cell in cells]
        first = next((number for number in (1, 0) if cells[number] is not None), None)
        if self.visits > _MOST_VISITS or first is None:
            fixed = enable.as_const()
            idle = fixed is not None and not fixed.bits and not fixed.undefined
            return self.visits <= _MOST_VISITS and (idle or not (is_undefined(word) or is_undefined(enable)))
        split, chooser = selectors[first], cells[first]
        assert chooser is not None
        for number in range(len(arms_of(chooser))):
            if path.get(split, number) == number:
                word_, enable_ = (
                    one if cell is None or selector != split else arms_of(cell)[number]
                    for one, cell, selector in zip((word, enable), cells, selectors, strict=True)
                )
                if not self._harmless(word_, enable_, {**path, split: number}):
                    return False
        self.met.update(
            cell.output for cell, selector in zip(cells, selectors, strict=True) if cell and selector == split
        )
        return True

    def _maker(self, word: Word) -> Cell | None:
        """The cell that chooses all of a word, perhaps with constants above."""
        if not word.parts or not isinstance(word.parts[0], Slice) or len(set(word.values())) != 1:
            return None
        part = word.parts[0]
        cell = self.makers.get(part.value)
        whole = cell is not None and cell.kind in CHOOSING and not part.low and len(list(word.values())) == 1
        return cell if whole and cell is not None and arms_of(cell)[0].width == part.width else None

    def _selector(self, cell: Cell) -> object:
        """Two cells with equal ones choose alike."""
        select = selector_of(cell)
        asked = self.makers.get(next(iter(select.values()), -1)) if select.width == 1 else None
        return cell.kind, select if asked is None else (asked.kind, asked.operands, str(asked.params))
