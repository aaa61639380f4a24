"""Finds out how a CSV file is laid out: delimiter, heading, decimal sign, time column, rate.

Theory of operation. Instruments write what they like above the samples: nothing, a row of names, a row of names and
one of units, or a page of settings. The data begin at the first row from which on all fields look like data (numbers
with or without a unit, levels, gaps) and their number stays the same; the one or two rows directly above with as many
fields are the heading; what stands above that is searched for a sample rate. Each delimiter is tried, and the one
that gives the most rows of data wins. sigrok's tables have their names and their rate in a comment above, and a heading
of units.
"""

from __future__ import annotations

import re

from forelight.sim.errors import CaptureError
from forelight.sim.frozen import frozen
from forelight.sim.units import SECONDS

from .clocks import STAMP
from .columns import BYTES
from .record import LINES

#: Units of time as instruments write them, in seconds.
UNITS = {
    **{unit: float(seconds) for unit, seconds in SECONDS.items() if unit != "min"},
    **dict.fromkeys(("sec", "seconds"), 1.0),
    **dict.fromkeys(("µs", "μs"), float(SECONDS["us"])),
    "milliseconds": float(SECONDS["ms"]),
    "microseconds": float(SECONDS["us"]),
    "nanoseconds": float(SECONDS["ns"]),
    "picoseconds": float(SECONDS["ps"]),
}
#: What else stands in a row of units, over columns of levels.
OF_LEVELS = {"logic", "level", "bool", "bit", "bits", "digital", "state", "v", "mv", "-", "samples"}
HEXADECIMAL = {"hex", "hexadecimal", "0x"}
DECIMAL = {"dec", "decimal"}
DELIMITERS = "\t;,|"
RATES = {
    "hz": 1.0,
    "khz": 1e3,
    "mhz": 1e6,
    "ghz": 1e9,
    "s/s": 1.0,
    "sa/s": 1.0,
    "ks/s": 1e3,
    "ksa/s": 1e3,
    "ms/s": 1e6,
    "msa/s": 1e6,
    "gs/s": 1e9,
    "gsa/s": 1e9,
}
SPACE = r"[ \u00a0\u2009\u202f']"
NUMBER = rf"[+-]?(?:\d+(?:{SPACE}\d{{3}})*(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
DATA = re.compile(
    rf"\s*(?:{NUMBER}\s*(?:[munpfµμ]?s)?|[01xXzZ?-]+|0[xX][0-9a-fA-F]+|[0-9a-fA-F]{{1,2}}[hH]?|[psx]{{8}}"
    rf"|{re.sub('[?]P<[a-z]+>', '', STAMP)}|[0-9]{{4}}[-/][0-9]{{2}}[-/][0-9]{{2}}|)\s*"
)
TIME_NAME = re.compile(r"\b(time|times?tamp|date ?time|t|zeit|temps|tiempo|seconds?|sec)\b", re.IGNORECASE)
SAMPLE_NAME = re.compile(r"\b(samples?|sample ?(no|number|index)|index|no|nr|n)\b|^#$", re.IGNORECASE)
HEAD = 1 << 16  # bytes in which the heading must end
MANY = 400  # rows that are looked at


@frozen
class TableLayout:
    """`offset` is the byte at which the data begin, `line` its line number (from 1); `names` and `units` have one
    entry a column.

    `time` is the time column's index and `clock` what it counts: `seconds` (times `scale`), `samples`, `steps`, or
    `rows` where there is no such column. `rate` is the sample rate in Hz that the heading states, if it does.
    """

    delimiter: str
    offset: int
    line: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    time: int | None
    clock: str
    scale: float
    rate: float | None
    notes: tuple[str, ...]


def find_layout(data: bytes, place: str) -> TableLayout:
    """Raises CaptureError where no delimiter makes a table of the file, or two do."""
    head = data[:HEAD]
    if len(data) > HEAD:
        head = head[: head.rfind(b"\n") + 1]
    lines = re.findall(r"[^\r\n]*(?:\r\n|\n|\r)|[^\r\n]+$", head.decode("utf-8", "replace"))
    best: tuple[int, int, str] | None = None
    for delimiter in DELIMITERS:
        found = _first_data(lines, delimiter)
        if found and (best is None or found[0] > best[0]):
            best = (*found, delimiter)
    if best is None:
        raise _no_table(lines, place)
    _, row, delimiter = best
    count = len(lines[row].rstrip("\r\n").split(delimiter))
    heading: list[list[str]] = []
    for above in reversed([line for line in lines[:row] if line.strip()][-2:]):
        cells = _cells(above, delimiter)
        if len(cells) != count:
            if not heading:
                _refuse_narrow(cells, count, row, delimiter, place)
            break
        heading.insert(0, cells)
    if len(heading) == 2 and not _is_units(heading[1]):
        heading.pop(0)  # the lower row is the names; the upper one is of settings and happens to be as wide
    _refuse_gap(lines, row, heading[0] if heading else [""] * count, delimiter, place)
    names = heading[0] if heading else [str(n + 1) for n in range(count)]
    units = heading[1] if len(heading) > 1 else [""] * count
    filled = [line for line in lines[:row] if line.strip()]
    above = "".join(filled[: len(filled) - len(heading)])
    if len(heading) == 1 and _is_units(names):
        names, units = _names_above(above, names), names
    offset = len("".join(lines[:row]).encode())
    return _with_time(
        names,
        units,
        above,
        TableLayout(delimiter, offset, row + 1, (), (), None, "rows", 1.0, None, ()),
        lines[row:],
    )


def _no_table(lines: list[str], place: str) -> CaptureError:
    """The refusal of a file in which no row of data was found: the cell that comes nearest to being some."""
    filled = [(number, line) for number, line in enumerate(lines, 1) if line.strip()]
    most = max(DELIMITERS, key=lambda mark: sum(mark in line for _, line in filled))
    rows = [(number, _cells(line, most)) for number, line in filled if most in line]
    for number, cells in rows[1:]:  # the first may be a heading
        strange = [(column, cell) for column, cell in enumerate(cells, 1) if not DATA.fullmatch(cell)]
        if len(strange) < len(cells):
            column, cell = strange[0] if strange else (len(cells), cells[-1])
            found = f"'{cell[:40]}' in column {column} is no time, level or byte (nothing was understood before it)"
            where, remedy = f"{place}, line {number}", "export the recording again, or mend the line"
            return CaptureError(found, place=where, remedy=remedy)
    found = "the file is neither a value change dump nor a session nor a table of levels"
    remedy = "export VCD, or CSV with a column for each line; above a list by eye write `outputs` or `shown`"
    return CaptureError(found, place=place, remedy=remedy)


def _refuse_gap(lines: list[str], row: int, heading: list[str], delimiter: str, place: str) -> None:
    """A heading further up, with rows of data beneath it, means that a row between cannot be read."""
    for above, line in enumerate(lines[:row]):
        cells = _cells(line, delimiter)
        if cells == heading:
            return
        known = [cell for cell in cells if TIME_NAME.fullmatch(cell) or cell.lower() in (*LINES, *BYTES)]
        if len(known) < 2 or len(cells) != len(heading):
            continue
        for number, under in enumerate(lines[above + 1 : row], above + 2):
            fields = _cells(under, delimiter)
            strange = [n for n, cell in enumerate(fields) if not DATA.fullmatch(cell)]
            if len(fields) != len(cells) and under.strip():
                found = f"{len(fields)} fields where the heading has {len(cells)}"
            elif strange and not _is_units(fields):
                found = (
                    f"'{fields[strange[0]][:40]}' in column '{cells[strange[0]]}' is no time, level or byte"
                )
            else:
                continue
            found += f" (understood before it: the heading in line {above + 1})"
            remedy = "export the recording again, or mend the line"
            raise CaptureError(found, place=f"{place}, line {number}", remedy=remedy)


def _names_above(above: str, units: list[str]) -> list[str]:
    """The names of the columns that a comment above a heading of units gives, as sigrok writes it."""
    found = re.search(r"Channels \([0-9]+/[0-9]+\): (.*)", above)
    names = [name.strip() for name in found[1].split(",")] if found else []
    timed = units[0].lower() in {*UNITS, "samples"}
    clock = ["sample" if units[0].lower() == "samples" else "Time"] if timed else []
    return clock + names if len(clock + names) == len(units) else units


def _refuse_narrow(cells: list[str], count: int, row: int, delimiter: str, place: str) -> None:
    """A heading with names that are known, and not as many as there are columns, cannot be laid over them."""
    if not any(
        TIME_NAME.fullmatch(re.sub(r"_?s$", "", cell)) or cell.lower() in (*LINES, *BYTES) for cell in cells
    ):
        return
    decimal = (
        " (if its commas are decimal signs, export it with ; between the columns)" if delimiter == "," else ""
    )
    raise CaptureError(
        f"the heading has {len(cells)} columns and the rows have {count}",
        place=f"{place}, line {row}",
        remedy=f"give the file one name for each column{decimal}",
    )


def _cells(line: str, delimiter: str) -> list[str]:
    return [cell.strip().strip('"').strip() for cell in line.rstrip("\r\n").split(delimiter)]


def _first_data(lines: list[str], delimiter: str) -> tuple[int, int] | None:
    """How many rows of data there are (up to MANY) and the first of them."""
    row = 0
    while row < len(lines):
        count = None
        stop = row
        if _named(lines[row : row + 2], delimiter):
            row += 1
            continue
        while stop < len(lines) and stop - row < MANY:
            cells = _cells(lines[stop], delimiter)
            if not all(DATA.fullmatch(cell) for cell in cells) or not any(cells):
                break
            if count is not None and len(cells) != count:
                break
            count = len(cells)
            stop += 1
        if count is not None and count > 1 and (stop - row > 1 or stop == len(lines)):
            return (stop - row) * 16 + count, row
        row = max(stop, row + 1)
    return None


def _named(rows: list[str], delimiter: str) -> bool:
    """Whether the first of two rows holds names that might be hexadecimal numbers, such as D0, over levels."""
    if len(rows) < 2:
        return False
    names, under = (_cells(row, delimiter) for row in rows)
    return (
        len(set(names)) == len(names) == len(under)
        and all(re.fullmatch(r"[A-Za-z]+[0-9]*", name) for name in names)
        and not any(re.search("[A-Wa-wYy]", cell) for cell in under)
    )


def _is_units(cells: list[str]) -> bool:
    words = [cell.strip("()[]").lower() for cell in cells]
    kinds = {*UNITS, *OF_LEVELS, *HEXADECIMAL, *DECIMAL, ""}
    return any(word in UNITS for word in words) or (any(words) and kinds.issuperset(words))


def _with_time(
    names: list[str], units: list[str], above: str, layout: TableLayout, rows: list[str]
) -> TableLayout:
    """Complete the layout with what the heading says about time."""
    notes: list[str] = []
    time, clock, scale = None, "rows", 1.0
    rate = _stated_rate(above + "\n" + "\n".join(units))
    for index, name in enumerate(names):
        lone = re.sub(r"[_()\[\]/]", " ", name).strip()
        unit = units[index].strip("()[] ") or next((w for w in lone.split()[1:] if w.lower() in UNITS), "")
        if TIME_NAME.search(lone):
            time, clock, scale = index, "seconds", UNITS.get(unit.lower(), 1.0)
            if not unit and rate and "libsigrok" in above:
                # It counts in the largest unit of which a sample lasts a whole number, and does not name it.
                scale = next(s for s in (1.0, 1e-3, 1e-6, 1e-9, 1e-12) if rate * s < 1.001 or s == 1e-12)
            break
    else:
        for index, name in enumerate(names):
            if SAMPLE_NAME.search(name):
                time, clock = index, "samples"
                break
            if name.lower() == "step":
                time, clock = index, "steps"
                break
        else:
            first = [_cells(row, layout.delimiter)[0] for row in rows[:MANY]]
            if (
                any(not re.fullmatch(r"[01xXzZ?-]*", cell) for cell in first)
                and len(set(map(len, first))) > 0
                and names[0] == "1"
            ):
                time, clock = 0, "seconds"
                notes.append("The first column has no name: it was taken as time in seconds.")
    return TableLayout(
        layout.delimiter, layout.offset, layout.line, tuple(names), tuple(units), time, clock, scale, rate, tuple(notes)
    )  # fmt: skip


def _stated_rate(text: str) -> float | None:
    """The sample rate or interval that the heading states, as a rate in Hz (which is also what is meant without a
    unit)."""
    rates = "|".join(re.escape(unit) for unit in sorted(RATES, key=len, reverse=True))
    found = re.search(rf"(?:rate\b|frequency)[^\d\n]*({NUMBER})[ \t]*({rates})?\b", text, re.IGNORECASE)
    if found:
        stated = re.search(rf"[(\[]({rates})[)\]]", found[0], re.IGNORECASE)
        unit = found[2] or (stated[1] if stated else "Hz")
        return _number(found[1]) * RATES[unit.lower()] or None
    found = re.search(
        rf"(?:interval|period|increment)([^\d\n]*)({NUMBER})[ \t]*([munpfµμ]?s)?\b", text, re.IGNORECASE
    )
    if not found:
        return None
    stated = re.search(r"[(\[]([munpfµμ]?s)[)\]]", found[1], re.IGNORECASE)
    unit = found[3] or (stated[1] if stated else "s")
    seconds = _number(found[2]) * UNITS[unit.lower()]
    return 1 / seconds if seconds > 0 else None


def _number(text: str) -> float:
    return float(re.sub(SPACE, "", text).replace(",", "."))
