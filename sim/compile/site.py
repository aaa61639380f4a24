"""One cell at the place where its text is being written, with what every emitter needs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..netlist import Cell, Word
from .words import Scope


@dataclass(frozen=True)
class Site:
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
        width = max(word.width, 1)
        return (
            self.scope.word(word) if width == 1 else self.op(f"icmp ne i{width} {self.scope.word(word)}, 0")
        )

    def truth(self, bit: str) -> str:
        """An i1 as the result of this cell."""
        return self.scope.resize(bit, 1, self.width)

    def select(self, bit: str, yes: str, no: str, width: int | None = None) -> str:
        return self.scope.text.select(bit, f"i{width or self.width}", yes, no)

    def gated(self, bit: str, yes: str, no: str) -> str:
        """A select of single bits as gates: LLVM's code generator does not end on some trees of selects of `i1`."""
        differs = self.op(f"xor i1 {no}, {yes}")
        return self.op(f"xor i1 {no}, {self.op(f'and i1 {bit}, {differs}')}")


Emitter = Callable[[Site], str]
