"""Sums and choices of words of bits that may be unknown, by a few operations on whole words.

The result is the same, bit by bit, as that of the gates of `TernaryBuilder`, of which it would be dozens a bit. In a
chain of full adders a carry may be 1 where at least two of three bits may be 1, and may be 0 where two may be 0. So
the carries that may be 1 are those of an ordinary sum of the rails "may be 1", the carries that may be 0 those of a
sum of the rails "may be 0", and a bit of the sum is known where the two bits and the carry are.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..gates.builder import ONE, ZERO, Bit
from ..netlist import Cell, Word
from .rails import TernaryBuilder

#: Words of fewer bits are left to gates.
_LEAST = 6
#: A word with more than one part for so many bits is left to gates, as it costs more to put together.
_PARTS = 4


class WordBuilder(TernaryBuilder):
    """A three-valued builder that adds, multiplies and chooses between whole words."""

    def __init__(self) -> None:
        super().__init__()
        self._words: dict[tuple[str, tuple[Word, ...]], Word] = {}

    def add(self, a: Sequence[Bit], b: Sequence[Bit], below: Bit = ZERO) -> tuple[list[Bit], Bit]:
        if len(a) < _LEAST:
            return super().add(a, b, below)
        found = self._sum(a, b, below)
        return found[:-1], found[-1]

    def carry_out(self, a: Sequence[Bit], b: Sequence[Bit], below: Bit) -> Bit:
        return self._sum(a, b, below)[-1] if len(a) >= _LEAST else super().carry_out(a, b, below)

    def both_all(self, bits: Sequence[Bit], bit: Bit) -> list[Bit]:
        may0, may1 = self._rails(bits)
        if len(bits) < _LEAST or bit in (ZERO, ONE) or not _compact(may0, may1):
            return super().both_all(bits, bit)
        bit0, bit1 = self._rails([bit] * len(bits))
        return self._bits(self._made("$or", may0, bit0), self._made("$and", may1, bit1))

    def choose_all(self, select: Bit, low: Sequence[Bit], high: Sequence[Bit]) -> list[Bit]:
        rails = self._rails(low), self._rails(high)
        if len(low) < _LEAST or select in (ZERO, ONE) or not _compact(*rails[0], *rails[1]):
            return super().choose_all(select, low, high)
        chosen = self._rails([select] * len(low))
        found = []
        for of_low, of_high in zip(*rails, strict=True):
            by_low, by_high = self._made("$and", of_low, chosen[0]), self._made("$and", of_high, chosen[1])
            found.append(self._made("$or", by_low, by_high))
        return self._bits(*found)

    def _sum(self, a: Sequence[Bit], b: Sequence[Bit], below: Bit) -> list[Bit]:
        """The bits of a sum, and its carry out: one bit more than each word has."""
        width, made = len(a), self._made
        totals, carries = [], []
        for one, other, carry in zip(
            self._rails([*a, ZERO]), self._rails([*b, ZERO]), self._rails([below]), strict=True
        ):
            total = made("$add", made("$add", one, other), carry + Word.const(0, width))
            totals.append(total.cut(0, width))
            carries.append(made("$xor", total, made("$xor", one, other)))
        lost = made("$and", carries[0].cut(0, width), carries[1].cut(0, width))
        for word in (a, b):
            lost = made("$or", lost, made("$and", *self._rails(word)))
        value = totals[1]  # where nothing is unknown
        found = self._bits(made("$or", made("$not", value), lost), made("$or", value, lost))
        return found + self._bits(*(word.bit(width) for word in carries))

    def _rails(self, bits: Sequence[Bit]) -> tuple[Word, Word]:
        """The rails may be 0 and may be 1 of a word, each as a word."""
        pairs = [self.pair(bit) for bit in bits]
        return self.rails.word(may0 for may0, _ in pairs), self.rails.word(may1 for _, may1 in pairs)

    def _bits(self, may0: Word, may1: Word) -> list[Bit]:
        return [self.of(*pair) for pair in zip(*map(self.rails.bits_of, (may0, may1)), strict=True)]

    def _made(self, kind: str, *operands: Word) -> Word:
        """The output of a cell on words of one width, made once."""
        key = kind, operands
        if key not in self._words:
            rails = self.rails
            number = rails.value(operands[0].width)
            rails.cells.append(Cell(kind, number, operands, {}, rails.src))
            self._words[key] = Word.value(number, operands[0].width)
        return self._words[key]


def _compact(*words: Word) -> bool:
    """Whether words have so few parts that it pays to put them together."""
    return all(_PARTS * len(word.parts) <= word.width for word in words)
