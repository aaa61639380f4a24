"""Records of RTLIL text: modules with wires, cells, connections, processes and memories, every bit a number.

Bits 0 to 3 are the constants 0, 1, x and z; wires take the numbers from `FIRST` on, one range for each wire,
so that a signal of the text (name, slice, concatenation, constant) is a tuple of bit numbers, lowest first.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

Bits = tuple[int, ...]

#: The number of each constant bit as it is written; the rest of the numbers are wires and values.
CONSTANTS = {"0": 0, "1": 1, "x": 2, "z": 3, "-": 2, "m": 2}
ZERO, ONE, UNDEFINED, FLOATING, FIRST = range(5)

_ESCAPE = re.compile(r"\\([0-7]{1,3}|.)")


@dataclass(slots=True)
class Wire:
    """A wire of `width` bits from number `base` on; `init` is as written, `index` orders the ports."""

    name: str
    base: int
    width: int
    direction: str
    index: int
    init: str
    src: str

    @property
    def bits(self) -> Bits:
        return tuple(range(self.base, self.base + self.width))


@dataclass(slots=True)
class CellText:
    """A cell as written: parameters still text, connections as bits."""

    kind: str
    name: str
    params: dict[str, str]
    ports: dict[str, Bits]
    src: str
    line: int


@dataclass(slots=True)
class MemoryText:
    name: str
    width: int
    size: int
    offset: int
    src: str


@dataclass(slots=True)
class Assign:
    target: Bits
    source: Bits


@dataclass(slots=True)
class Switch:
    selector: Bits
    src: str


@dataclass(slots=True)
class Case:
    """The next case of the innermost switch. Without patterns it never matches, or is the default."""

    patterns: tuple[str, ...]
    default: bool


@dataclass(slots=True)
class End:
    """The end of the innermost switch."""


Step = Assign | Switch | Case | End


@dataclass(slots=True)
class ProcessText:
    """A combinational process as a flat list of steps."""

    name: str
    steps: list[Step]
    src: str


@dataclass(slots=True)
class Module:
    """One module; its wires own the bits from `first` up to `end`."""

    name: str
    src: str
    top: bool
    black_box: bool
    first: int
    end: int = 0
    line: int = 0
    wires: dict[str, Wire] = field(default_factory=dict)
    cells: list[CellText] = field(default_factory=list)
    connects: list[Assign] = field(default_factory=list)
    processes: list[ProcessText] = field(default_factory=list)
    memories: list[MemoryText] = field(default_factory=list)
    params: dict[str, str] = field(default_factory=dict)
    lines: tuple[str, ...] = ()

    def ports(self) -> list[Wire]:
        """The ports in their order."""
        return sorted((w for w in self.wires.values() if w.direction), key=lambda w: w.index)


def public(name: str) -> str:
    """A name as its author wrote it, without the backslash of RTLIL; private names (`$...`) as they are."""
    return name.removeprefix("\\")


def unquote(text: str) -> str:
    """The characters of a quoted RTLIL string."""
    names = {"n": "\n", "t": "\t", "r": "\r"}

    def character(match: re.Match[str]) -> str:
        code = match[1]
        return chr(int(code, 8)) if code[0] in "01234567" else names.get(code, code)

    return _ESCAPE.sub(character, text[1:-1])


#: Bits of the widest wire, and of all wires of a module or of one constant, that are read: more would fill the memory.
WIDEST, MOST_BITS = 1 << 20, 1 << 23


def digits(text: str) -> str:
    """The digits of a constant as written, highest first, as many as it is wide; integers have 32 bits."""
    if text.startswith('"'):
        return "".join(f"{ord(c) & 255:08b}" for c in unquote(text))
    width, mark, shown = text.partition("'")
    if not mark:
        return f"{int(width) & 0xFFFFFFFF:032b}"
    shown = shown.removeprefix("s")
    size = int(width)
    if not 0 <= size <= MOST_BITS:
        raise ValueError(f"a constant of {size} bits")
    if len(shown) < size:
        fill = shown[0] if shown and shown[0] in "xz-" else "0"
        shown = fill * (size - len(shown)) + shown
    return shown[len(shown) - size :]


def constant(shown: str) -> Bits:
    """The bits of constant digits."""
    return tuple([CONSTANTS[d] for d in reversed(shown)])
