"""What a netlist rules out at sight: how large a word can be, and selectors of which no two are ever 1 together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

from ..netlist import Cell, Const, Slice, Word

#: Cells in a row that are looked through.
_DEPTH = 8
#: Selectors of which every pair is compared.
_MOST_PAIRED = 64

#: What must hold for a bit to be 1: bits with their levels.
Term = Mapping[Word, int]


class Bounds:
    """Answers for one netlist, from its cells by the value that they drive."""

    def __init__(self, makers: Mapping[int, Cell]) -> None:
        self._makers = makers

    def most(self, word: Word, depth: int = _DEPTH) -> int:
        """A number that the word, taken as unsigned, never exceeds."""
        found = at = 0
        for part in word.parts:
            full = (1 << part.width) - 1
            if isinstance(part, Const):
                found += (part.bits | part.undefined) << at
            else:
                found += min(full, self._most_of(part, depth)) << at
            at += part.width
        return found

    def _most_of(self, part: Slice, depth: int) -> int:
        full = (1 << part.width) - 1
        cell = self._makers.get(part.value) if depth and not part.low else None
        words = () if cell is None else cell.operands
        found = full
        if cell is None:
            pass
        elif cell.kind in ("$mux", "case"):
            found = max(
                self.most(arm, depth - 1) for arm in (words[:2] if cell.kind == "$mux" else words[1:])
            )
        elif cell.kind in ("$add", "$mul", "$sub", "$and", "$mod") and not self._signed(cell):
            a, b = (self.most(word, depth - 1) for word in words)
            fixed = words[0].as_const()
            if cell.kind in ("$add", "$mul"):
                exact = a + b if cell.kind == "$add" else a * b
                found = exact if exact <= full else full
            elif cell.kind == "$and":
                found = min(a, b)
            elif cell.kind == "$mod" and words[1].as_const() is not None and b:
                found = b - 1
            elif cell.kind == "$sub" and fixed is not None and b <= fixed.bits & ~fixed.undefined:
                found = fixed.bits
        return min(found, full)

    def _signed(self, cell: Cell) -> bool:
        """Whether an operand may be negative."""
        return bool(cell.params.get("A_SIGNED")) and any(
            self.most(word) >> max(word.width - 1, 0) for word in cell.operands
        )

    def never_zero(self, word: Word) -> bool:
        return any(isinstance(part, Const) and part.bits for part in word.parts)

    def exclusive(self, select: Word) -> bool:
        """Whether no two bits of the word are ever 1 together, as where one word is compared with several constants."""
        terms = [self._terms(bit) for bit in select.bits()]
        flat = [term for found in terms for term in found]
        if len({frozenset(term) for term in flat}) == 1:  # all look at the same bits
            return len({frozenset(term.items()) for term in flat}) == len(flat)
        if len(flat) > _MOST_PAIRED:
            return False
        return all(
            _contradict(one, other)
            for first, second in combinations(terms, 2)
            for one in first
            for other in second
        )

    def exhaustive(self, select: Word) -> bool:
        """Whether some bit of the word is always 1, as where one word is compared with all that it can be."""
        flat = [term for bit in select.bits() for term in self._terms(bit)]
        bits = {frozenset(term) for term in flat}
        return len(bits) == 1 and len({frozenset(term.items()) for term in flat}) == 1 << len(*bits)

    def _terms(self, bit: Word, depth: int = _DEPTH) -> Sequence[Term]:
        """Ways in which a bit may be 1."""
        part = bit.parts[0]
        cell = self._makers.get(part.value) if isinstance(part, Slice) and depth else None
        if cell is None:
            return [{bit: 1}]
        words = cell.operands
        if cell.kind in ("$eq", "$eqx") and words[0].width == words[1].width:
            for fixed, other in (words, words[::-1]):
                level = fixed.as_const()
                if level is not None and not level.undefined:
                    return _met({one: level.bits >> n & 1 for n, one in enumerate(other.bits())})
        if cell.kind in ("$logic_not", "$not") and (cell.kind == "$logic_not" or words[0].width == 1):
            return _met(dict.fromkeys(words[0].bits(), 0))
        if cell.kind in ("$reduce_or", "$reduce_bool") or (
            cell.kind in ("$or", "$logic_or") and words[0].width == words[1].width == 1
        ):
            return [term for word in words for one in word.bits() for term in self._terms(one, depth - 1)]
        return [{bit: 1}]


def _met(term: Term) -> Sequence[Term]:
    """The term without what constants meet; none where one does not."""
    fixed = {bit: constant.bits for bit in term if (constant := bit.as_const()) is not None}
    if any(term[bit] != level for bit, level in fixed.items()):
        return []
    return [{bit: level for bit, level in term.items() if bit not in fixed}]


def _contradict(one: Term, other: Term) -> bool:
    return any(other.get(bit, level) != level for bit, level in one.items())
