"""The frozen word-level netlist: ports, cells, registers, latches, memories; it validates and prints itself.

Everything is a `Word`: a concatenation, bit 0 first, of slices of numbered values and of constants. A value
is what one thing drives: an input port, a cell's output, or the state of a register. Source wires are only
names for words. So there are no aliases to chase, and every value has exactly one driver.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field

from .errors import NetlistError
from .frozen import frozen, slotted
from .kinds import PORTS

#: Parts and words are made, compared and looked up by the million: these three classes have methods of their own.
_put = object.__setattr__


@slotted
class Slice:
    """Bits `low` to `low + width - 1` of value number `value`."""

    value: int
    low: int
    width: int

    def __init__(self, value: int, low: int, width: int) -> None:
        _put(self, "value", value)
        _put(self, "low", low)
        _put(self, "width", width)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Slice):
            return NotImplemented
        return self.value == other.value and self.low == other.low and self.width == other.width

    def __hash__(self) -> int:
        return hash((self.value, self.low, self.width))

    def __str__(self) -> str:
        return f"v{self.value}[{self.low}+:{self.width}]"


@slotted
class Const:
    """A constant of `width` bits; bits set in `undefined` were x in the source and count as 0 in a run."""

    bits: int
    width: int
    undefined: int = 0

    def __init__(self, bits: int, width: int, undefined: int = 0) -> None:
        _put(self, "bits", bits)
        _put(self, "width", width)
        _put(self, "undefined", undefined)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Const):
            return NotImplemented
        return self.bits == other.bits and self.width == other.width and self.undefined == other.undefined

    def __hash__(self) -> int:
        return hash((self.bits, self.width, self.undefined))

    def __str__(self) -> str:
        digits = (
            "x" if self.undefined >> i & 1 else str(self.bits >> i & 1) for i in reversed(range(self.width))
        )
        return f"{self.width}'{''.join(digits)}"


Part = Slice | Const


@slotted
class Word:
    """A concatenation of parts, bit 0 first, neighbours merged where they can be."""

    parts: tuple[Part, ...] = ()

    def __init__(self, parts: tuple[Part, ...] = ()) -> None:
        _put(self, "parts", parts)

    def __eq__(self, other: object) -> bool:
        return self.parts == other.parts if isinstance(other, Word) else NotImplemented

    def __hash__(self) -> int:
        return hash((self.parts,))

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


def source_line(src: str) -> str:
    """File and first line of a place in a source, which may name columns and several places; empty if it names none."""
    match = re.match(r"[^|]*?:\d+", src)
    return match[0] if match else ""


#: The parameter of a cell that says why what is undefined in its operands is so, where that is known.
REASON = "reason"
#: What a warning says of a net for which drivers fight.
FIGHT = "has two drivers that fight"
Param = int | str | tuple[tuple[str, ...], ...]


@slotted
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


@slotted
class Override:
    """While bit k of `mask` is 1, bit k of the register takes bit k of `value`, whatever its clock does."""

    mask: Word
    value: Word


@slotted
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


@slotted
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


@slotted
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


@frozen
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
        validate(self)

    def __str__(self) -> str:
        return render(self)


def words(netlist: Netlist) -> Iterator[tuple[Word, str]]:
    """Every word that something reads, with where it is read."""
    for cell in netlist.cells:
        for word in cell.operands:
            yield word, f"cell {cell.kind} of value {cell.output}"
    for register in netlist.registers:
        place = f"register {register.name or register.output}"
        yield from ((word, place) for word in register.words)
    for memory in netlist.memories:
        for port in memory.writes:
            place = f"a write port of memory {memory.name}"
            yield from ((word, place) for word in port.words)
    for name, word in netlist.outputs.items():
        yield word, f"output {name}"
    for name, word in netlist.names.items():
        yield word, f"name {name}"


def validate(netlist: Netlist) -> None:
    """Raise NetlistError unless every value has one driver and every width fits."""
    drivers: dict[int, str] = {}

    def drive(value: int, what: str) -> None:
        if not 0 <= value < len(netlist.widths):
            raise NetlistError(f"{what} drives value {value}, which does not exist", place=netlist.name)
        if value in drivers:
            raise NetlistError(
                f"value {value} has two drivers: {drivers[value]} and {what}", place=netlist.name
            )
        drivers[value] = what

    for name, value in netlist.inputs.items():
        drive(value, f"input {name}")
    for cell in netlist.cells:
        drive(cell.output, f"cell {cell.kind}")
        _check_cell(netlist, cell)
    for register in netlist.registers:
        drive(register.output, f"register {register.name or register.output}")
    _check_state(netlist)
    for word, place in words(netlist):
        for part in word.parts:
            if isinstance(part, Slice):
                if part.value not in drivers:
                    raise NetlistError(
                        f"{place} reads value {part.value}, which nothing drives", place=netlist.name
                    )
                if part.low < 0 or part.low + part.width > netlist.widths[part.value]:
                    raise NetlistError(
                        f"{place} reads {part} of a value of {netlist.widths[part.value]} bits"
                    )


def _check_cell(netlist: Netlist, cell: Cell) -> None:
    if cell.kind in PORTS:
        fits = len(cell.operands) == len(PORTS[cell.kind])
    elif cell.kind == "case":
        patterns = cell.params["patterns"]
        assert isinstance(patterns, tuple)
        width = netlist.widths[cell.output]
        fits = len(cell.operands) == len(patterns) + 2 and all(w.width == width for w in cell.operands[1:])
        fits = fits and all(len(p) == cell.operands[0].width for case in patterns for p in case)
    elif cell.kind == "read":
        fits = len(cell.operands) == 1 and 0 <= cell.int_param("memory", -1) < len(netlist.memories)
    else:
        raise NetlistError(f"cell kind {cell.kind} is not known", place=cell.src)
    if not fits:
        raise NetlistError(
            f"cell {cell.kind} of value {cell.output}: its operands do not fit", place=cell.src
        )


def _check_state(netlist: Netlist) -> None:
    for register in netlist.registers:
        width = netlist.widths[register.output]
        sized = [register.data, *register.forcing]
        if register.clock is None:
            sized = sized[1:]
        wrong = any(word.width != width for word in sized) or register.width != width
        if (
            wrong
            or (register.clock is not None and register.clock.width != 1)
            or register.init.width != width
        ):
            raise NetlistError(
                f"register {register.name or register.output}: widths do not fit", place=register.src
            )
    for memory in netlist.memories:
        rows = all(row.width == memory.width for row in memory.init) and len(memory.init) == memory.size
        ports = all(p.data.width == memory.width == p.enable.width for p in memory.writes)
        if not rows or not ports:
            raise NetlistError(f"memory {memory.name}: widths do not fit", place=memory.src)


def render(netlist: Netlist) -> str:
    """The one textual form: a line a thing, in the order of the record."""
    lines = [f"netlist {netlist.name}"]
    lines += [f"input {n} v{v}:{netlist.widths[v]}" for n, v in netlist.inputs.items()]
    for cell in netlist.cells:
        params = "".join(f" {k}={v}" for k, v in sorted(cell.params.items()))
        operands = " ".join(map(str, cell.operands))
        lines.append(f"v{cell.output}:{netlist.widths[cell.output]} = {cell.kind} {operands}{params}")
    for register in netlist.registers:
        clock = (
            "latch" if register.clock is None else f"{'rise' if register.rising else 'fall'} {register.clock}"
        )
        overrides = "".join(f" while {o.mask} {o.value}" for o in register.overrides)
        data = "" if register.clock is None else f" takes {register.data}"
        lines.append(
            f"v{register.output}:{register.width} = register {register.name} {clock}{data}{overrides}"
            f" init {register.init}"
        )
    for number, memory in enumerate(netlist.memories):
        lines.append(f"memory {number} {memory.name} {memory.size}x{memory.width} from {memory.offset}")
        for port in memory.writes:
            clock = "always" if port.clock is None else f"{'rise' if port.rising else 'fall'} {port.clock}"
            lines.append(f"  write {clock} at {port.address} data {port.data} enable {port.enable}")
        rows = [
            f"  row {i} {row}"
            for i, row in enumerate(memory.init)
            if row.bits or row.undefined != (1 << row.width) - 1
        ]
        lines += rows
    lines += [f"output {n} {w}" for n, w in netlist.outputs.items()]
    return "\n".join(lines) + "\n"
