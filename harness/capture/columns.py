"""Which column of a recording holds which line: as told, or guessed from names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from forelight.sim.errors import CaptureError
from forelight.sim.frozen import frozen

from .record import LINES

#: Names that stand for eight lines in one column, and the letter of their lines.
BYTES = {"inputs": "i", "outputs": "o"}


@frozen
class Column:
    """A column or variable of a recording: its name (with scopes and range, if any) and how many bits it holds."""

    name: str
    width: int = 1
    net: str = ""  # columns of one net, if it has a name, are the same

    @property
    def stem(self) -> str:
        """The name without its range: `bus[7:0]` is `bus`, but `bus[3]` stays."""
        return re.sub(r"\[-?\d+:-?\d+\]$", "", self.name).strip()

    @property
    def leaf(self) -> str:
        return self.stem.rsplit(".", 1)[-1]


Chosen = dict[str, tuple[int, int]]  # line -> index of the column, bit in it


def match_columns(
    columns: Sequence[Column], mapping: Mapping[str, str], labels: Mapping[str, str], place: str
) -> tuple[Chosen, list[str]]:
    """Line by line the column and bit that hold it, and a sentence for each guess.

    A series is mapped at once: `o=CH` lays o0, o1 and so on on CH0, CH1 and so on (or on CH1, CH2, where there is no
    CH0), `o=CH8..CH15` and `o=CH7..CH0` on the numbers that it states, in their order.

    Raises CaptureError for a mapping to a column that is not there or does not fit, for two candidates, and for none
    at all.
    """
    mapping = _spread(mapping, columns, place)
    chosen: Chosen = {}
    for line, name in mapping.items():
        if line not in LINES and line not in BYTES:
            raise CaptureError(
                f"'{line}' is no line",
                place=place,
                remedy="map i0..i7, o0..o7, inputs, outputs, step or restart, or a series with i or o",
            )
        _take(chosen, columns, line, name, place)
    told = {index for index, _ in chosen.values()}
    free = [(index, column) for index, column in enumerate(columns) if index not in told]
    notes = []
    for line in (*BYTES, *LINES):
        if (
            line in chosen
            or line in mapping
            or (line in BYTES and any(f"{BYTES[line]}{n}" in mapping for n in range(8)))
        ):
            continue
        names = _names(line, labels)
        found = [
            (i, c)
            for i, c in free
            if {c.leaf.lower(), c.stem.lower()} & names and c.width == (8 if line in BYTES else 1)
        ]
        if found and found[0][1].net and len({column.net for _, column in found}) == 1:
            found = found[:1]
        if len(found) > 1:
            both = " and ".join(f"'{c.name}'" for _, c in found[:2])
            raise CaptureError(
                f"{line} may be {both}", place=place, remedy=f"say which with --map {line}=NAME"
            )
        if found:
            index, column = found[0]
            chosen |= _bits(line, index, column)
            if column.leaf.lower() != line:
                notes.append(f"'{column.name}' was taken as {line}.")
    if not chosen:
        names_found = _listed(columns)
        raise CaptureError(
            f"no column is named after a line (found: {names_found})",
            place=place,
            remedy="say which is which, as in --map o0=NAME",
        )
    return chosen, notes


def _spread(mapping: Mapping[str, str], columns: Sequence[Column], place: str) -> dict[str, str]:
    """The mapping with a column for each line of a series; what is said of a single line counts more."""
    found: dict[str, str] = {}
    for side, name in mapping.items():
        if side not in BYTES.values():
            continue
        stated = re.fullmatch(r"(.*?)([0-9]{1,4})\.\.(?:\1)?([0-9]{1,4})", name)
        numbered = _numbered(stated[1] if stated else name, columns, place)
        if stated:
            first, last = int(stated[2]), int(stated[3])
            wanted = list(range(first, last + 1) if first <= last else range(first, last - 1, -1))
            bits = dict(enumerate(wanted))
        else:
            bits = {number - (0 not in numbered): number for number in numbered}
        if not bits or max(bits) > 7 or set(bits.values()) - numbered.keys():
            raise CaptureError(
                f"no series '{name}' of up to eight columns for {side}0 and on (found: {_listed(columns)})",
                place=place,
                remedy=f"name the first and the last of them, as in {side}=CH0..CH7",
            )
        found |= {f"{side}{bit}": numbered[number] for bit, number in bits.items()}
    return found | {line: name for line, name in mapping.items() if line not in BYTES.values()}


def _numbered(stem: str, columns: Sequence[Column], place: str) -> dict[int, str]:
    """The columns that are named after a stem and a number, by number."""
    found: dict[int, str] = {}
    for column in columns:
        form = re.fullmatch(re.escape(stem) + r"[ _\[]?([0-9]{1,4})\]?", column.leaf, re.IGNORECASE)
        if form and column.width == 1:
            if int(form[1]) in found:
                both = f"'{found[int(form[1])]}' and '{column.name}'"
                raise CaptureError(f"{both} have one number", place=place, remedy="map them one by one")
            found[int(form[1])] = column.name
    return found


def _names(line: str, labels: Mapping[str, str]) -> set[str]:
    """What a column may be called that holds this line, in small letters."""
    names = {line, labels.get(line, line).lower()}
    for whole, letter in BYTES.items():
        if line[0] == letter and line not in BYTES:
            names.add(f"{whole}[{line[1:]}]")
    return names


def _take(chosen: Chosen, columns: Sequence[Column], line: str, name: str, place: str) -> None:
    """What the mapping says: a column by name or by number (from 1), perhaps one bit of it."""
    exact = [i for i, c in enumerate(columns) if name in (c.name, c.stem)]
    loose = exact or [i for i, c in enumerate(columns) if c.leaf.lower() == name.lower()]
    bit = re.fullmatch(r"(.+)\[(\d+)\]", name)
    if not loose and bit and line not in BYTES:
        wide = [
            i for i, c in enumerate(columns) if bit[1] in (c.name, c.stem, c.leaf) and int(bit[2]) < c.width
        ]
        if len(wide) == 1:
            chosen[line] = (wide[0], int(bit[2]))
            return
    if not loose and name.isdecimal() and 1 <= int(name) <= len(columns):
        loose = [int(name) - 1]
    if len(loose) != 1:
        found = _listed(columns)
        what = "no column" if not loose else f"{len(loose)} columns"
        raise CaptureError(
            f"{what} named '{name}' for {line} (found: {found})",
            place=place,
            remedy="give the full name of one",
        )
    column = columns[loose[0]]
    if (column.width == 8) != (line in BYTES):
        raise CaptureError(
            f"'{column.name}' has {column.width} bits and cannot be {line}",
            place=place,
            remedy=f"map one bit, as in {line}={name}[0]",
        )
    chosen |= _bits(line, loose[0], column)


def _bits(line: str, index: int, column: Column) -> Chosen:
    if line in BYTES:
        return {f"{BYTES[line]}{n}": (index, n) for n in range(column.width)}
    return {line: (index, 0)}


def _listed(columns: Sequence[Column]) -> str:
    return ", ".join(f"'{column.name}'" for column in columns[:12] if column.name) or "none"
