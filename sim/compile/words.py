"""Words to LLVM values: slices, concatenations and extensions, each made once in the scope where it is valid."""

from __future__ import annotations

from collections.abc import Sequence

from ..netlist import Const, Part, Slice, Word
from .text import Text


class Scope:
    """What is known at a place in the text: value numbers and words, each with its LLVM name.

    A child sees what its parent knew; what the child adds is gone with it, as names inside a branch must be.
    """

    def __init__(self, text: Text, widths: Sequence[int], parent: Scope | None = None) -> None:
        self.text = text
        self.widths = widths
        self._parent = parent
        self._values: dict[int, str] = {}
        self._words: dict[Word, str] = {}
        self.presets: dict[Word, str] = parent.presets if parent else {}

    def child(self) -> Scope:
        return Scope(self.text, self.widths, self)

    def set(self, value: int, name: str) -> None:
        """Value number `value` is LLVM value `name` from here on."""
        self._values[value] = name

    def preset(self, word: Word, name: str) -> None:
        """A word whose LLVM value is known without looking at its parts."""
        self.presets[word] = self._words[word] = name

    def knows(self, value: int) -> bool:
        return value in self._values or (self._parent is not None and self._parent.knows(value))

    def value(self, value: int) -> str:
        scope: Scope | None = self
        while scope is not None:
            found = scope._values.get(value)
            if found is not None:
                return found
            scope = scope._parent
        raise KeyError(f"value {value} is not known here")

    def word(self, word: Word) -> str:
        """The word as an LLVM integer of its width (an empty word is an `i1` 0)."""
        if len(word.parts) == 1:
            part = word.parts[0]
            if isinstance(part, Const):
                return str(part.bits)
            if part.low == 0 and part.width == self.widths[part.value]:
                return self.presets.get(word) or self.value(part.value)
        scope: Scope | None = self
        while scope is not None:
            found = scope._words.get(word)
            if found is not None:
                return found
            scope = scope._parent
        result = self._words[word] = self._build(word)
        return result

    def extended(self, word: Word, width: int, signed: bool) -> str:
        """The word cut or extended (with zeros, or with its top bit) to `width` bits."""
        have = word.width
        if have >= width:
            return self.word(word.cut(0, width))
        constant = word.as_const()
        if constant is not None:
            bits = constant.bits
            if signed and have and bits >> (have - 1) & 1:
                bits |= (1 << width) - (1 << have)
            return str(bits)
        return self.text.op(f"{'sext' if signed else 'zext'} i{have} {self.word(word)} to i{width}")

    def resize(self, name: str, have: int, width: int, signed: bool = False) -> str:
        """An LLVM value of `have` bits as one of `width` bits."""
        if have == width:
            return name
        verb = "trunc" if have > width else "sext" if signed else "zext"
        return self.text.op(f"{verb} i{have} {name} to i{width}")

    def _build(self, word: Word) -> str:
        total = word.width
        if total == 0:
            return "0"
        constant = 0
        at = 0
        result = ""
        for part, repeats in _runs(word.parts):
            width = part.width * repeats
            if isinstance(part, Const):
                constant |= part.bits << at
            else:
                piece = self._slice(part)
                if repeats > 1:
                    piece = self.text.op(f"sext i1 {piece} to i{width}")
                piece = self.resize(piece, width, total)
                if at:
                    piece = self.text.op(f"shl i{total} {piece}, {at}")
                result = self.text.op(f"or i{total} {result}, {piece}") if result else piece
            at += width
        if not result:
            return str(constant)
        return self.text.op(f"or i{total} {result}, {constant}") if constant else result

    def _slice(self, part: Slice) -> str:
        name, have = self.value(part.value), self.widths[part.value]
        if part.low:
            name = self.text.op(f"lshr i{have} {name}, {part.low}")
        return self.resize(name, have, part.width)


def _runs(parts: tuple[Part, ...]) -> list[tuple[Part, int]]:
    """Parts with how often each stands in a row; only single bits are counted together (a sign extension)."""
    runs: list[tuple[Part, int]] = []
    for part in parts:
        if runs and runs[-1][0] == part and isinstance(part, Slice) and part.width == 1:
            runs[-1] = (part, runs[-1][1] + 1)
        else:
            runs.append((part, 1))
    return runs
