"""Builds one-bit gates: a table of bits, gates made once for each question, and folded where constants decide."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from ..netlist import Cell, Const, Part, Slice, Word

#: A bit of the new netlist, by its place in the builder's table.
Bit = int

#: The constants of the table. An undefined bit is 0 in a run, but nothing may be concluded from that.
ZERO, ONE, UNDEFINED = 0, 1, 2


class Builder:
    """The values and gates of a netlist under construction.

    Gates are `$buf`, `$not`, `$and`, `$or`, `$xor` and `$mux`, one bit each. Where a netlist is wanted as it is
    drawn, only what constants decide is folded, nothing is shared, and a gate of many inputs stays one:
    `$reduce_and`, `$reduce_or` or `$reduce_xor`.
    """

    def __init__(self, as_drawn: bool) -> None:
        self.as_drawn = as_drawn
        self.widths: list[int] = []
        self.cells: list[Cell] = []
        self.src = ""  # of the cell that is being drawn
        constants = (Const(0, 1), Const(1, 1), Const(0, 1, 1))
        self._parts: list[Part] = list(constants)
        self._places: dict[Part, Bit] = {part: bit for bit, part in enumerate(constants)}
        self._gates: dict[tuple[object, ...], Bit] = {}
        self._inverse: dict[Bit, Bit] = {ZERO: ONE, ONE: ZERO}

    # Values and words

    def value(self, width: int) -> int:
        """A new value, for the caller to drive."""
        self.widths.append(width)
        return len(self.widths) - 1

    def bits(self, value: int) -> list[Bit]:
        """The bits of a value of the new netlist."""
        return [self._bit(Slice(value, low, 1)) for low in range(self.widths[value])]

    def bits_of(self, word: Word) -> list[Bit]:
        """The bits of a word of values and constants of the new netlist."""
        return [self._bit(part) for bit in word.bits() for part in bit.parts]

    def constant(self, word: Const) -> list[Bit]:
        return [
            UNDEFINED if word.undefined >> place & 1 else word.bits >> place & 1
            for place in range(word.width)
        ]

    def word(self, bits: Iterable[Bit]) -> Word:
        return Word.of(self._parts[bit] for bit in bits)

    def _bit(self, part: Part) -> Bit:
        found = self._places.get(part)
        if found is None:
            found = self._places[part] = len(self._parts)
            self._parts.append(part)
        return found

    def gate(self, kind: str, *operands: Sequence[Bit], output: int | None = None) -> Bit:
        """A new gate, whatever its operands are; it may drive a value that was made before."""
        number = self.value(1) if output is None else output
        self.cells.append(Cell(kind, number, tuple(map(self.word, operands)), {}, self.src))
        return self._bit(Slice(number, 0, 1))

    def _shared(self, kind: str, *inputs: Bit) -> Bit:
        """The gate that asks this of these bits; two undefined bits need not be alike."""
        if self.as_drawn or UNDEFINED in inputs:
            return self.gate(kind, *((bit,) for bit in inputs))
        key = (kind, *(inputs if kind == "$mux" else sorted(inputs)))
        found = self._gates.get(key)
        if found is None:
            found = self._gates[key] = self.gate(kind, *((bit,) for bit in inputs))
        return found

    # Gates

    def buffer(self, a: Bit) -> Bit:
        return self.gate("$buf", (a,)) if self.as_drawn and a not in (ZERO, ONE) else a

    def inverter(self, a: Bit) -> Bit:
        if self.as_drawn and a not in (ZERO, ONE):
            return self.gate("$not", (a,))
        found = self._inverse.get(a)
        if found is None:
            found = self._shared("$not", a)
            if a != UNDEFINED:
                self._inverse[a], self._inverse[found] = found, a
        return found

    def both(self, a: Bit, b: Bit) -> Bit:
        """The and of two bits."""
        if ZERO in (a, b) or self._opposite(a, b):
            return ZERO
        if ONE in (a, b) or self._same(a, b):
            return b if a == ONE else a
        return self._shared("$and", a, b)

    def either(self, a: Bit, b: Bit) -> Bit:
        """The or of two bits."""
        if ONE in (a, b) or self._opposite(a, b):
            return ONE
        if ZERO in (a, b) or self._same(a, b):
            return b if a == ZERO else a
        return self._shared("$or", a, b)

    def differ(self, a: Bit, b: Bit) -> Bit:
        """The exclusive or of two bits."""
        if a != UNDEFINED and self._same(a, b):
            return ZERO
        if self._opposite(a, b):
            return ONE
        for one, other in ((a, b), (b, a)):
            if one == ZERO:
                return other
            if one == ONE:
                return self.inverter(other)
        return self._shared("$xor", a, b)

    def choose(self, select: Bit, low: Bit, high: Bit) -> Bit:
        """`high` where `select` is 1, else `low`."""
        if select in (ZERO, ONE) or self._same(low, high):
            return high if select == ONE else low
        simpler = self._simpler_choice(select, low, high)
        return self._shared("$mux", low, high, select) if simpler is None else simpler

    def _simpler_choice(self, select: Bit, low: Bit, high: Bit) -> Bit | None:
        """The gate that a choice with a constant, with its own selector or between opposites comes down to."""
        found = None
        if UNDEFINED in (select, low, high):
            pass  # nothing may be concluded
        elif high == ONE or self._same(high, select):
            found = self.either(select, low)
        elif low == ZERO or self._same(low, select):
            found = self.both(select, high)
        elif high == ZERO:
            found = self.both(self.inverter(select), low)
        elif low == ONE:
            found = self.either(self.inverter(select), high)
        elif self._opposite(low, high):
            found = self.differ(select, low)
        return found

    def _same(self, a: Bit, b: Bit) -> bool:
        """Whether both are one net; as drawn, only of constants is anything concluded from that."""
        return a == b and (not self.as_drawn or a in (ZERO, ONE))

    def _opposite(self, a: Bit, b: Bit) -> bool:
        return self._inverse.get(a) == b

    # Gates of many inputs

    def all_of(self, bits: Sequence[Bit]) -> Bit:
        if ZERO in bits:
            return ZERO
        return self._many("$reduce_and", self.both, [bit for bit in bits if bit != ONE], ONE)

    def any_of(self, bits: Sequence[Bit]) -> Bit:
        if ONE in bits:
            return ONE
        return self._many("$reduce_or", self.either, [bit for bit in bits if bit != ZERO], ZERO)

    def parity(self, bits: Sequence[Bit]) -> Bit:
        found = self._many("$reduce_xor", self.differ, [bit for bit in bits if bit not in (ZERO, ONE)], ZERO)
        return self.inverter(found) if sum(bit == ONE for bit in bits) % 2 else found

    def _many(self, kind: str, pair: Callable[[Bit, Bit], Bit], bits: Sequence[Bit], nothing: Bit) -> Bit:
        """One gate as drawn, else a tree of pairs."""
        if len(bits) < 2:
            return self.buffer(bits[0]) if bits else nothing
        if self.as_drawn and len(bits) > 2:
            return self.gate(kind, bits)
        level = list(bits)
        while len(level) > 1:
            joined = [pair(a, b) for a, b in zip(level[::2], level[1::2], strict=False)]
            level = joined + level[len(level) & ~1 :]
        return level[0]

    # Words of gates

    def add(self, a: Sequence[Bit], b: Sequence[Bit], below: Bit = ZERO) -> tuple[list[Bit], Bit]:
        """The sum of two words and a carry, and the carry out: a chain of full adders, half ones after no carry."""
        result = []
        for place, (x, y) in enumerate(zip(a, b, strict=True)):
            if place == 0 and below == ZERO:
                result.append(self.differ(x, y))
                below = self.both(x, y)
            else:
                result.append(self.differ(self.differ(x, y), below))
                below = self._carry(x, y, below)
        return result, below

    def carry_out(self, a: Sequence[Bit], b: Sequence[Bit], below: Bit) -> Bit:
        """The carry out of the sum of two words and a carry."""
        for x, y in zip(a, b, strict=True):
            below = self._carry(x, y, below)
        return below

    def _carry(self, a: Bit, b: Bit, below: Bit) -> Bit:
        """Whether at least two of three bits are 1."""
        return self.either(self.both(a, b), self.both(below, self.either(a, b)))

    def both_all(self, bits: Sequence[Bit], bit: Bit) -> list[Bit]:
        """The and of each bit and one more."""
        return [self.both(each, bit) for each in bits]

    def choose_all(self, select: Bit, low: Sequence[Bit], high: Sequence[Bit]) -> list[Bit]:
        return [self.choose(select, a, b) for a, b in zip(low, high, strict=True)]

    def tree(self, select: Sequence[Bit], leaves: dict[int, list[Bit]], nothing: list[Bit]) -> list[Bit]:
        """The leaf whose number `select` says; `nothing` for a number that has none."""
        for bit in select:
            numbers = dict.fromkeys(number >> 1 for number in leaves)
            leaves = {
                number: self.choose_all(
                    bit, leaves.get(2 * number, nothing), leaves.get(2 * number + 1, nothing)
                )
                for number in numbers
            }
        return leaves.get(0, nothing)

    def decode(self, select: Sequence[Bit], wanted: Iterable[int]) -> dict[int, Bit]:
        """A line for each wanted number, which is 1 while `select` says it; the lines of others are left out."""
        numbers = set(wanted)
        lines = {0: ONE}
        for place in reversed(range(len(select))):
            literals = self.inverter(select[place]), select[place]
            above, lines = lines, {}
            for number in sorted({number >> place for number in numbers}):
                line = above.get(number >> 1)
                if line is not None:
                    literal = literals[number & 1]
                    lines[number] = literal if line == ONE else self.both(line, literal)
        return {number: line for number, line in lines.items() if number in numbers}
