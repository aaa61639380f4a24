"""One cell at the place where its text is being written, with what every emitter needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from ..frozen import frozen
from ..netlist import Cell, Word
from .layout import storage_bits
from .words import Scope


@frozen
class CellSite:
    """One cell at the place where its text is being written."""

    cell: Cell
    operands: Sequence[Word]  # of the cell, with what is known put in
    scope: Scope
    width: int  # of the result, never 0

    @property
    def signed(self) -> bool:
        return bool(self.cell.int_param("A_SIGNED"))

    @property
    def both_signed(self) -> bool:
        return bool(self.cell.int_param("A_SIGNED") and self.cell.int_param("B_SIGNED"))

    def operand(self, index: int) -> Word:
        return self.operands[index]

    def op(self, expression: str) -> str:
        return self.scope.text.op(expression)

    def nonzero(self, word: Word) -> str:
        return self.scope.word(word) if word.width <= 1 else self._against("ne", word, 0)

    def equals(self, word: Word, constant: int) -> str:
        """Whether a word of at least one bit is a constant."""
        return self._against("eq", word, constant)

    def _against(self, verb: str, word: Word, constant: int) -> str:
        if not self.may_be_turned(word):
            return self.op(f"icmp {verb} i{word.width} {self.scope.word(word)}, {constant}")
        differs = self.differing(
            (self.hidden(piece), str(constant >> 64 * n & (1 << piece.width) - 1))
            for n, piece in enumerate(pieces(word))
        )
        return differs if verb == "ne" else self.op(f"xor i1 {differs}, 1")

    def may_be_turned(self, word: Word) -> bool:
        """Whether LLVM may see a rotation in a word, of a width at which it compares two of them wrongly.

        It makes one rotation of two that are compared, by the difference of their distances; for 3 bits it takes that
        modulo 8, the numbers of 3 bits, where modulo 3 is meant (LLVM 22: x rotated by 1 against y rotated by 2). A
        rotation is made of parts, or by logic, and is no constant or state as it is.
        """
        logic = any(value not in self.scope.places for value in word.values())
        return bool(word.width & word.width - 1) and (logic or len(word.parts) > 1)

    def hidden(self, piece: Word) -> tuple[int, str]:
        """Bits and name of a word of up to 64 bits in a machine word, of which LLVM does not know whence it comes."""
        bits = storage_bits(piece.width)
        name = self.scope.extended(piece, bits, False)
        return bits, self.op(f'call i{bits} asm "", "=r,0"(i{bits} {name})')

    def differing(self, pairs: Iterable[tuple[tuple[int, str], str]]) -> str:
        """Whether any machine word is another than its partner."""
        result = "0"
        for (bits, name), other in pairs:
            result = self.op(f"or i1 {result}, {self.op(f'icmp ne i{bits} {name}, {other}')}")
        return result

    def truth(self, bit: str) -> str:
        """An i1 as the result of this cell."""
        return self.scope.resize(bit, 1, self.width)

    def select(self, bit: str, yes: str, no: str, width: int | None = None) -> str:
        return self.scope.text.select(bit, f"i{width or self.width}", yes, no)

    def gated(self, bit: str, yes: str, no: str) -> str:
        """A select of single bits as gates: LLVM's code generator does not end on some trees of selects of `i1`."""
        differs = self.op(f"xor i1 {no}, {yes}")
        return self.op(f"xor i1 {no}, {self.op(f'and i1 {bit}, {differs}')}")


Emitter = Callable[[CellSite], str]


def pieces(word: Word) -> Iterator[Word]:
    """The word in machine words, lowest first."""
    return (word.cut(low, min(64, word.width - low)) for low in range(0, word.width, 64))
