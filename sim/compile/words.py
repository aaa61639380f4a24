"""Words to LLVM values: slices, concatenations and extensions, each made once in the scope where it is valid."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from ..netlist import Cell, Const, Part, Slice, Word
from .fold import fold
from .layout import Place, storage_bits
from .text import Text

#: Bits of a wide value that are cut out or put together as one before single bits are: a machine word.
_CHUNK = 64
#: A wide concatenation of parts that are shorter than this on average is put together from chunks.
_SHORT = 16


#: Wider constants are written in hexadecimal: Python refuses to make decimal text of more than 4300 digits.
_DECIMAL = 8192


class Scope:
    """What is known at a place in the text: value numbers and words, each with its LLVM name.

    A child sees what its parent knew; what the child adds is gone with it, as names inside a branch must be.
    """

    def __init__(
        self,
        text: Text,
        widths: Sequence[int],
        parent: Scope | None = None,
        places: Mapping[int, Place] | None = None,
    ) -> None:
        self.text = text
        self.places = places or {}  # values that lie in the state and are loaded when they are wanted
        self.base: str = parent.base if parent else "%state"  # the state that is read
        self.widths = widths
        self._parent = parent
        self._names: dict[int, str] = {}
        self._words: dict[Word, str] = {}
        self._bound: dict[int, Word] = {}
        self._passing: dict[int, list[Word]] = {}  # values that may be renewed, with the words made of them
        self._folds: bool = parent is not None and parent._folds

    def child(self) -> Scope:
        return Scope(self.text, self.widths, self, self.places)

    def _chain(self) -> Iterator[Scope]:
        scope: Scope | None = self
        while scope is not None:
            yield scope
            scope = scope._parent

    def put(self, value: int, name: str) -> None:
        """Value number `value` is LLVM value `name` from here on."""
        self._names[value] = name

    def renew(self, value: int, name: str) -> None:
        """As `put`, of a value that has had another name: words that were made of that one are made anew."""
        for word in self._passing.pop(value, ()):
            self._words.pop(word, None)
        self._passing[value] = []
        self.put(value, name)

    def bind(self, value: int, word: Word) -> None:
        """Value number `value` is this word of constants and of values that have names."""
        self._bound[value] = word
        self._folds = True

    def knows(self, value: int) -> bool:
        return value in self.places or any(
            value in scope._names or value in scope._bound for scope in self._chain()
        )

    def name(self, value: int) -> str:
        """The LLVM name of a value that is not bound to a word."""
        found = self._named(value)
        if found is None:
            place = self.places[value]
            found = self._names[value] = self.load(place.offset, place.bits, place.width)
        return found

    def _named(self, value: int) -> str | None:
        for scope in self._chain():
            if value in scope._names:
                return scope._names[value]
        return None

    def load(self, offset: int, bits: int, width: int) -> str:
        """`width` bits of the state from a byte offset on, read as `bits` bits."""
        pointer = self.text.op(f"getelementptr i8, ptr {self.base}, i64 {offset}")
        align = min(offset & -offset or 8, bits // 8, 8)
        return self.resize(self.text.op(f"load i{bits}, ptr {pointer}, align {align}"), bits, width)

    def resolve(self, word: Word) -> Word:
        """The word with every value that is bound replaced by what it is bound to."""
        if not self._folds:
            return word
        parts: list[Part] = []
        for part in word.parts:
            bound = self._binding(part.value) if isinstance(part, Slice) else None
            if bound is not None and isinstance(part, Slice):
                parts.extend(bound.cut(part.low, part.width).parts)
            else:
                parts.append(part)
        return Word.of(parts)

    def _binding(self, value: int) -> Word | None:
        for scope in self._chain():
            found = scope._bound.get(value)
            if found is not None:
                return found
        return None

    def compute(self, cell: Cell, write: Callable[..., str]) -> None:
        """Make a cell's output known: by folding where that is possible, else by text that `write` makes."""
        operands = [self.resolve(word) for word in cell.operands]
        folded = fold(cell, operands, self.widths[cell.output]) if self._folds else None
        if folded is not None:
            self.bind(cell.output, folded)
            return
        self.put(cell.output, write(self, cell, operands))

    def word(self, word: Word) -> str:
        """The word as an LLVM integer of its width (an empty word is an `i1` 0)."""
        word = self.resolve(word)
        if len(word.parts) == 1:
            part = word.parts[0]
            if isinstance(part, Const):
                return _number(part.bits, part.width)
            if part.low == 0 and part.width == self.widths[part.value]:
                return self.name(part.value)
        for scope in self._chain():
            found = scope._words.get(word)
            if found is not None:
                return found
        result = self._words[word] = self._build(word)
        for value in self._passing.keys() & set(word.values()) if self._passing else ():
            self._passing[value].append(word)
        return result

    def extended(self, word: Word, width: int, signed: bool) -> str:
        """The word cut or extended (with zeros, or with its top bit) to `width` bits."""
        word = self.resolve(word)
        have = word.width
        if have >= width:
            return self.word(word if have == width else word.cut(0, width))
        if word.as_const() is not None:
            return self.word(word.extend(width, signed))
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
        runs = _runs(word.parts)
        if total > _CHUNK and len(runs) * _SHORT > total:
            # Bit by bit, a wide integer would be shifted and joined as a whole for every bit.
            return self._joined([word.cut(at, min(_CHUNK, total - at)) for at in range(0, total, _CHUNK)])
        constant = 0
        at = 0
        result = ""
        for part, repeats in runs:
            width = part.width * repeats
            if isinstance(part, Const):
                constant |= part.bits << at
            else:
                piece = self.word(Word((part,))) if len(word.parts) > 1 else self._slice(part)
                if repeats > 1:
                    piece = self.text.op(f"sext i1 {piece} to i{width}")
                piece = self.resize(piece, width, total)
                if at:
                    piece = self.text.op(f"shl i{total} {piece}, {at}")
                result = self.text.op(f"or i{total} {result}, {piece}") if result else piece
            at += width
        if not result:
            return _number(constant, total)
        return self.text.op(f"or i{total} {result}, {_number(constant, total)}") if constant else result

    def _joined(self, pieces: Sequence[Word]) -> str:
        """The concatenation of words that are each made on their own."""
        total = sum(piece.width for piece in pieces)
        result, at = "0", 0
        for piece in pieces:
            name = self.resize(self.word(piece), piece.width, total)
            result = self.text.op(f"or i{total} {result}, {self.text.op(f'shl i{total} {name}, {at}')}")
            at += piece.width
        return result

    def _slice(self, part: Slice) -> str:
        have = self.widths[part.value]
        place = self.places.get(part.value)
        if place is not None and have > 64 and self._named(part.value) is None:
            # Of a wide value in the state only the bytes that matter are read.
            first, shift = part.low // 8, part.low % 8
            bits = storage_bits(shift + part.width)
            first = min(first, place.size - bits // 8)
            shift = part.low - 8 * first
            name = self.load(place.offset + first, bits, bits)
            if shift:
                name = self.text.op(f"lshr i{bits} {name}, {shift}")
            return self.resize(name, bits, part.width)
        first = part.low // _CHUNK * _CHUNK
        chunk = Slice(part.value, first, min(_CHUNK, have - first))
        if have > _CHUNK and part != chunk and part.low + part.width <= first + chunk.width:
            name = self.word(Word((chunk,)))
            if part.low > first:
                name = self.text.op(f"lshr i{chunk.width} {name}, {part.low - first}")
            return self.resize(name, chunk.width, part.width)
        name = self.name(part.value)
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


def _number(bits: int, width: int) -> str:
    """A constant as LLVM reads it."""
    return str(bits) if width <= _DECIMAL else f"u0x{bits:x}"
