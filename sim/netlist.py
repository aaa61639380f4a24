"""The frozen word-level netlist: ports, cells, registers, latches, memories; it validates and prints itself.

Everything is a `Word`: a concatenation, bit 0 first, of slices of numbered values and of constants. A value
is what one thing drives: an input port, a cell's output, or the state of a register. Source wires are only
names for words. So there are no aliases to chase, and every value has exactly one driver.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from .errors import NetlistError


@dataclass(frozen=True, slots=True)
class Slice:
    """Bits `low` to `low + width - 1` of value number `value`."""

    value: int
    low: int
    width: int

    def __str__(self) -> str:
        return f"v{self.value}[{self.low}+:{self.width}]"


@dataclass(frozen=True, slots=True)
class Const:
    """A constant of `width` bits; bits set in `undefined` were x in the source and count as 0 in a run."""

    bits: int
    width: int
    undefined: int = 0

    def __str__(self) -> str:
        digits = (
            "x" if self.undefined >> i & 1 else str(self.bits >> i & 1) for i in reversed(range(self.width))
        )
        return f"{self.width}'{''.join(digits)}"


Part = Slice | Const


@dataclass(frozen=True, slots=True)
class Word:
    """A concatenation of parts, bit 0 first, neighbours merged where they can be."""

    parts: tuple[Part, ...] = ()

    @staticmethod
    def of(parts: Iterable[Part]) -> Word:
        """Join parts (lowest first), merging neighbours; zero-width parts vanish."""
        merged: list[Part] = []
        for part in parts:
            if part.width == 0:
                continue
            joined = _join(merged[-1], part) if merged else None
            if joined is None:
                merged.append(part)
            else:
                merged[-1] = joined
        return Word(tuple(merged))

    @staticmethod
    def const(bits: int, width: int, undefined: int = 0) -> Word:
        """A constant word; `bits` is cut to `width`."""
        mask = (1 << width) - 1
        undefined &= mask
        return Word.of((Const(bits & mask & ~undefined, width, undefined),))

    @staticmethod
    def value(number: int, width: int) -> Word:
        """The whole of value `number`, `width` bits wide."""
        return Word.of((Slice(number, 0, width),))

    @property
    def width(self) -> int:
        return sum(part.width for part in self.parts)

    def cut(self, low: int, width: int) -> Word:
        """Bits `low` to `low + width - 1`, which must exist."""
        end = low + width
        found: list[Part] = []
        at = 0
        for part in self.parts:
            start, stop = max(low, at), min(end, at + part.width)
            if start < stop:
                found.append(_cut(part, start - at, stop - start))
            at += part.width
        if at < end or low < 0:
            raise NetlistError(
                f"bits {low} to {end - 1} of a word of {at} bits", remedy="cut inside the word"
            )
        return Word.of(found)

    def bit(self, index: int) -> Word:
        return self.cut(index, 1)

    def bits(self) -> list[Word]:
        """One word a bit, bit 0 first (in one pass, for wide words)."""
        return [Word((_cut(part, i, 1),)) for part in self.parts for i in range(part.width)]

    def extend(self, width: int, signed: bool) -> Word:
        """Cut, or extend with zeros or with the top bit, to `width` bits."""
        have = self.width
        if width <= have:
            return self.cut(0, width)
        if not signed or have == 0:
            return Word.of((*self.parts, Const(0, width - have)))
        return Word.of((*self.parts, *(self.bit(have - 1).parts * (width - have))))

    def as_const(self) -> Const | None:
        """The constant that this word is, or None; an empty word is an empty constant."""
        if not self.parts:
            return Const(0, 0)
        first = self.parts[0]
        return first if len(self.parts) == 1 and isinstance(first, Const) else None

    def values(self) -> Iterable[int]:
        """The numbers of the values it reads, with repeats."""
        return (part.value for part in self.parts if isinstance(part, Slice))

    def __add__(self, higher: Word) -> Word:
        """This word in the low bits, `higher` above it."""
        return Word.of((*self.parts, *higher.parts))

    def __str__(self) -> str:
        if len(self.parts) == 1:
            return str(self.parts[0])
        return "{" + " ".join(str(part) for part in reversed(self.parts)) + "}"


def _join(low: Part, high: Part) -> Part | None:
    if isinstance(low, Const) and isinstance(high, Const):
        return Const(
            low.bits | high.bits << low.width,
            low.width + high.width,
            low.undefined | high.undefined << low.width,
        )
    if not isinstance(low, Slice) or not isinstance(high, Slice):
        return None
    if low.value == high.value and low.low + low.width == high.low:
        return Slice(low.value, low.low, low.width + high.width)
    return None


def _cut(part: Part, low: int, width: int) -> Part:
    if isinstance(part, Slice):
        return Slice(part.value, part.low + low, width)
    mask = (1 << width) - 1
    return Const(part.bits >> low & mask, width, part.undefined >> low & mask)


Param = int | str | tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """One combinational cell that drives value `output`.

    `kind` is a name of Yosys' cell library (`$add`, `$mux` ...) with its operands in the order of `kinds.PORTS` and
    its parameters as integers, or one of two of Forelight's own:
    `case`: operands are the selector and then one word a case, the default last; `params["patterns"]` holds
    for each case but the default a tuple of patterns (`0`, `1`, `-`, highest bit first); the first case that
    matches wins.
    `read`: the asynchronous read of memory number `params["memory"]`; its one operand is the address.
    """

    kind: str
    output: int
    operands: tuple[Word, ...]
    params: Mapping[str, Param] = field(default_factory=dict)
    src: str = ""

    def int_param(self, name: str, default: int = 0) -> int:
        found = self.params.get(name, default)
        if not isinstance(found, int):
            raise NetlistError(f"cell {self.kind}: parameter {name} is {found!r}", place=self.src)
        return found


@dataclass(frozen=True, slots=True)
class Override:
    """While bit k of `mask` is 1, bit k of the register takes bit k of `value`, whatever its clock does."""

    mask: Word
    value: Word


@dataclass(frozen=True, slots=True)
class Register:
    """State of `width` bits that drives value `output`.

    With a `clock` (one bit) it takes `data` at each rising (or falling) edge; enables and synchronous resets
    have been folded into `data` by the reader. `overrides` are level-sensitive and stronger than the clock,
    the last one strongest: asynchronous reset, set, clear and load. With no clock it is a latch made of
    overrides alone.
    """

    output: int
    width: int
    clock: Word | None
    rising: bool
    data: Word
    overrides: tuple[Override, ...] = ()
    init: Const = Const(0, 0)
    name: str = ""
    src: str = ""

    @property
    def forcing(self) -> tuple[Word, ...]:
        """Mask and value of each override."""
        return tuple(word for override in self.overrides for word in (override.mask, override.value))

    @property
    def words(self) -> tuple[Word, ...]:
        """All that it reads."""
        return (self.data, *(() if self.clock is None else (self.clock,)), *self.forcing)


@dataclass(frozen=True, slots=True)
class WritePort:
    """Writes `data` under the per-bit `enable` at each clock edge, or whenever enabled where there is no clock."""

    clock: Word | None
    rising: bool
    address: Word
    data: Word
    enable: Word
    src: str = ""

    @property
    def operands(self) -> tuple[Word, Word, Word]:
        """Address, data and enable."""
        return self.address, self.data, self.enable

    @property
    def words(self) -> tuple[Word, ...]:
        """All that it reads."""
        return (*self.operands, *(() if self.clock is None else (self.clock,)))


@dataclass(frozen=True, slots=True)
class Memory:
    """`size` words of `width` bits from address `offset` on; of two writes to one bit, the later port in `writes` wins.

    Reads are `read` cells (synchronous read ports are a `read` cell and a register). A read out of range
    gives 0, a write out of range is dropped. `init` has one constant for each word.
    """

    name: str
    width: int
    size: int
    offset: int
    init: tuple[Const, ...]
    writes: tuple[WritePort, ...]
    src: str = ""


@dataclass(frozen=True)
class Netlist:
    """A flat, validated netlist.

    `widths[n]` is the width of value n. `inputs` maps a port to its value number, `outputs` a port to the
    word that it shows, `names` every name of the source (`\\` dropped, levels of hierarchy joined by `.`) to
    its word.
    `warnings` are one line each: undriven nets and the like.
    """

    name: str
    widths: tuple[int, ...]
    inputs: Mapping[str, int]
    outputs: Mapping[str, Word]
    cells: tuple[Cell, ...]
    registers: tuple[Register, ...]
    memories: tuple[Memory, ...]
    names: Mapping[str, Word] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        from .validate import validate

        validate(self)

    def __str__(self) -> str:
        from .validate import render

        return render(self)
