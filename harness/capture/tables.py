"""Reads a CSV recording, piece by piece and column by column, to a capture.

Theory of operation. The layout is found once, from the head of the file. The rows are then read in pieces of some
megabytes, so that the places of all fields never have to be held at once: blanks, quotes and apostrophes (digit
groups) are struck out, fields are found by their delimiters, and of each line only the changes are kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from forelight.sim.errors import CaptureError
from forelight.sim.levels import LEVEL, OTHER, UNKNOWN
from forelight.sim.traces.columns import Bytes, Ints
from numpy.typing import NDArray

from .clocks import StampReader
from .columns import BYTES, Chosen, Column, match_columns
from .layout import DECIMAL, DELIMITERS, HEXADECIMAL, TableLayout, find_layout
from .numbers import numbers
from .record import (
    CHANGES,
    ENOUGH,
    LINES,
    SAMPLES,
    Capture,
    Floats,
    Levels,
    RecordedLine,
    changes_only,
    quantum,
    sampled_every,
)

PIECE = 1 << 22  # bytes that are handled at a time
REGULAR = 0.9  # of the rows of a table of samples come one period after another
DIGIT = np.full(256, OTHER, np.uint8)
for _value in range(16):
    DIGIT[[ord(f"{_value:x}"), ord(f"{_value:X}")]] = _value


class Fields:
    """The fields of some rows: for each column, first byte and length in one flat text without blanks and quotes.

    `first` rows stand before them, and their first line has the number `line`. Empty lines are left out.
    """

    def __init__(self, body: bytes, layout: TableLayout, place: str, first: int, line: int) -> None:
        self.place, self.layout, self.first, self.line = place, layout, first, line
        for blank in ("\u00a0", "\u2009", "\u202f"):
            body = body.replace(blank.encode(), b"")
        body = body.replace("µ".encode(), b"u").replace("μ".encode(), b"u")
        if b"\r" in body:
            body = body.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        body = body.translate(None, b" \"'")
        self.text = np.frombuffer(body, np.uint8)
        ends = self.text == ord("\n")
        empty = ends & np.r_[True, ends[:-1]]
        self.lines = int(ends.sum())
        self.numbers = np.flatnonzero(~empty[ends]) if empty.any() else None  # of the rows, among the lines
        if self.numbers is not None:
            self.text = self.text[~empty]
        stops = np.flatnonzero((self.text == ord("\n")) | (self.text == ord(layout.delimiter)))
        count = len(layout.names)
        last = self.text[stops] == ord("\n")
        widths = np.diff(np.flatnonzero(last), prepend=-1)
        uneven = np.flatnonzero(widths != count)
        if len(uneven):
            row = int(uneven[0])
            raise CaptureError(
                f"{widths[row]} fields where the rows before have {count} {self.understood(row)}",
                place=self.where(row),
                remedy="the file was cut short or edited: export it again",
            )
        self.rows = len(widths)
        self.starts = (np.r_[0, stops[:-1] + 1] if len(stops) else stops).reshape(-1, count)
        self.stops = stops.reshape(-1, count)

    def where(self, row: int) -> str:
        number = row if self.numbers is None else int(self.numbers[row])
        return f"{self.place}, line {self.line + number}"

    def column(self, index: int) -> tuple[Ints, Ints]:
        """First bytes and lengths."""
        return self.starts[:, index], self.stops[:, index] - self.starts[:, index]

    def cell(self, row: int, index: int) -> str:
        return (
            self.text[self.starts[row, index] : self.stops[row, index]].tobytes().decode("utf-8", "replace")
        )

    def refuse(self, row: int, index: int, what: str, remedy: str) -> CaptureError:
        name = self.layout.names[index]
        return CaptureError(
            f"'{self.cell(row, index)[:40]}' in column '{name}' {what} {self.understood(row)}",
            place=self.where(row),
            remedy=remedy,
        )

    def understood(self, row: int) -> str:
        """What of the table was understood before this row."""
        layout, rows = self.layout, self.first + row
        clock = f"column '{layout.names[layout.time]}' counts {layout.clock}" if layout.time is not None else (
            f"a sample every {1 / layout.rate:.6g} s" if layout.rate else "no column of times"
        )  # fmt: skip
        return (
            f"(understood before it: {rows} row{'s' * (rows != 1)} of {len(layout.names)} columns, {clock})"
        )


def read_table(data: bytes, place: str, mapping: Mapping[str, str], labels: Mapping[str, str]) -> Capture:
    """A table in UTF-8 to a capture; a last line that was cut short is left out, and a note says so.

    Raises CaptureError, with line and column, for what cannot be read or may mean two things.
    """
    data = _without_quoted_commas(data)
    try:
        return _read(data, place, mapping, labels)
    except CaptureError:
        shorter = _without_last_line(data)
        if not shorter:
            raise
        try:
            capture = _read(shorter, place, mapping, labels)
        except CaptureError:
            capture = None
        if capture is None:
            raise
        note = "The last line was cut short: the recording was used up to it."
        return replace(capture, notes=(note, *capture.notes))


def _without_last_line(data: bytes) -> bytes:
    """The lines before the last one, if that one may have been cut short: it has no end, or is shorter than others."""
    filled = data.rstrip(b"\r\n")
    begin = max(filled.rfind(b"\n"), filled.rfind(b"\r")) + 1
    before = filled[:begin].rstrip(b"\r\n")
    above = before[max(before.rfind(b"\n"), before.rfind(b"\r")) + 1 :]
    counts = [[line.count(mark.encode()) for mark in DELIMITERS] for line in (filled[begin:], above)]
    fewer = any(few < many for few, many in zip(*counts, strict=True))
    return data[:begin] if len(filled) == len(data) or fewer else b""


def _read(data: bytes, place: str, mapping: Mapping[str, str], labels: Mapping[str, str]) -> Capture:
    """The same, whole."""
    layout = find_layout(data, place)
    chosen: Chosen = {}
    notes: list[str] = []
    columns: list[Column] = []
    got: dict[str, list[RecordedLine]] = {}
    first, last, unit, sampled = 0.0, -np.inf, layout.clock, False
    stamps, bases, period = StampReader(), dict[int, int](), 0.0
    for fields in _pieces(data, layout, place):
        times, unit = _times(fields, last, stamps)
        if not columns:
            columns = _columns(fields, {mapping[line] for line in BYTES if line in mapping})
            chosen, notes = match_columns(columns, mapping, labels, place)
            got = {name: [] for name in chosen}
            first, sampled = float(times[0]), _is_sampled(fields, times, columns)
            period = _stated_period(layout) or (quantum(times) if sampled else 0.0)
        last = float(times[-1])
        whole: dict[int, Levels] = {}
        for name, (index, bit) in chosen.items():
            if columns[index].width == 1:
                levels = _levels(fields, index)[0]
            else:
                if index not in whole:
                    whole[index] = _byte_levels(fields, index, bases)
                levels = whole[index][:, bit]
            got[name].append(
                _seen_at_steps(times, levels) if unit == "steps" else changes_only(times, levels)
            )
    notes += [
        f"The numbers in column '{layout.names[index]}' were taken as {'hexadecimal' if base == 16 else 'decimal'}."
        for index, base in bases.items()
    ]
    lines = {name: _joined(parts) for name, parts in got.items()}
    if unit == "steps":
        last += 1.0
    elif sampled:
        last += period
    else:
        period = period or sampled_every(lines.values())
    holds = SAMPLES if sampled else CHANGES
    return Capture(lines, first, last, unit, period, place, (*layout.notes, *notes), holds=holds)


def as_utf8(data: bytes) -> bytes:
    """Whatever the file's encoding is, the same in UTF-8 without a byte order mark."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", "replace").encode()
    data = data.removeprefix(b"\xef\xbb\xbf")
    try:
        data[:PIECE].decode()
    except UnicodeDecodeError as error:
        if error.end < min(len(data), PIECE) - 3:  # else a character was cut in two
            return data.decode("latin-1").encode()
    return data


def _without_quoted_commas(data: bytes) -> bytes:
    """Commas that stand between quotation marks are no delimiters (RFC 4180): points take their place."""
    if b'"' not in data:
        return data
    text = np.frombuffer(data, np.uint8).copy()
    inside = np.bitwise_xor.accumulate(text == ord('"'))
    text[inside & (text == ord(","))] = ord(".")
    return text.tobytes()


def _pieces(data: bytes, layout: TableLayout, place: str) -> Iterator[Fields]:
    end = len(data.rstrip(b"\r\n "))
    start, row, line = layout.offset, 0, layout.line
    while start < end:
        cut = data.find(b"\n", min(start + PIECE, end))
        stop = end if cut < 0 or cut >= end else cut + 1
        fields = Fields(data[start:stop] + (b"\n" if stop == end else b""), layout, place, row, line)
        if fields.rows:
            yield fields
        start, row, line = stop, row + fields.rows, line + fields.lines


def _joined(parts: list[RecordedLine]) -> RecordedLine:
    return changes_only(np.concatenate([p.times for p in parts]), np.concatenate([p.levels for p in parts]))


def _columns(fields: Fields, told: set[str]) -> list[Column]:
    """What each column may hold: the time column nothing, nor a count of steps beside it."""
    layout = fields.layout
    columns = [
        Column(name, 8 if _holds_bytes(fields, index, told) else 1) for index, name in enumerate(layout.names)
    ]
    for index, name in enumerate(layout.names):
        counts = name.lower() == "step" and not _levels(fields, index, check=False)[1]
        if index == layout.time or (counts and layout.time is not None):
            columns[index] = Column("", 0)
    return columns


def _times(fields: Fields, before: float, stamps: StampReader) -> tuple[Floats, str]:
    """The time of each row, none of which may lie before `before`, and what it counts."""
    layout = fields.layout
    if layout.time is None:
        if layout.rate is None:
            raise CaptureError(
                "there is neither a column of times nor a sample rate in the heading",
                place=fields.where(0),
                remedy="name a column time_s, sample or step, or state the sample rate above the data",
            )
        return (fields.first + np.arange(fields.rows)) / layout.rate, "seconds"
    starts, lengths = fields.column(layout.time)
    times, good = numbers(fields.text, starts, lengths)
    if not good.any():
        times, good = stamps.read(fields.text, starts, lengths)
    if not good.all():
        row = int(np.flatnonzero(~good)[0])
        raise fields.refuse(row, layout.time, "is no time", "export the recording again, or mend the line")
    if layout.clock == "samples":
        times = times / (layout.rate or 1.0)
    elif layout.clock == "seconds":
        times = times * layout.scale
    back = np.flatnonzero(np.diff(times, prepend=before) < 0)
    if len(back):
        raise fields.refuse(
            int(back[0]), layout.time, "lies before the row above", "give one recording, in order of time"
        )
    return times, "seconds" if layout.clock == "samples" and layout.rate else layout.clock


def _stated_period(layout: TableLayout) -> float:
    """The time between two samples, where rows are counted in samples; else 0."""
    return 1 / (layout.rate or 1.0) if layout.time is None or layout.clock == "samples" else 0.0


def _is_sampled(fields: Fields, times: Floats, columns: Sequence[Column]) -> bool:
    """Whether there is a row for each sample, and not for each change alone: rows come at regular times, and some show
    the same as the row above. The last row may do that anyway, to say how long was recorded."""
    if fields.layout.time is None or fields.layout.clock == "steps":
        return True
    gaps = np.diff(times[:ENOUGH])
    grid = quantum(times)
    if len(gaps) < 2 or not grid or np.mean(np.abs(gaps - grid) < grid / 2) < REGULAR:
        return False
    same = np.ones(len(gaps) - 1, bool)
    for index, column in enumerate(columns):
        if column.width:
            same &= _as_above(fields, index)[: len(same)]
    return bool(same.any())


def _as_above(fields: Fields, index: int) -> NDArray[np.bool_]:
    """Whether each field of a column, from the second on, is what stands above it; of so many rows as tell."""
    starts, lengths = (column[: ENOUGH + 1] for column in fields.column(index))
    same: NDArray[np.bool_] = lengths[1:] == lengths[:-1]
    for spot in range(int(lengths.max(initial=0))):
        text = fields.text[np.minimum(starts + spot, len(fields.text) - 1)]
        same &= (text[1:] == text[:-1]) | (spot >= lengths[1:])
    return same


def _seen_at_steps(times: Floats, levels: Levels) -> RecordedLine:
    """What was seen at some steps: nothing is known about those in between."""
    after = times[:-1] + 1
    gap = after < times[1:]
    when = np.concatenate([times, after[gap]])
    level = np.concatenate([levels, np.full(int(gap.sum()), UNKNOWN, np.uint8)])
    order = np.argsort(when, kind="stable")
    return changes_only(when[order], level[order])


def _levels(fields: Fields, index: int, check: bool = True) -> tuple[Levels, bool]:
    """One level for each row, and whether all fields are such; an empty field is a gap."""
    starts, lengths = fields.column(index)
    levels = np.where(lengths == 0, np.uint8(UNKNOWN), LEVEL[fields.text[starts]])
    odd = np.flatnonzero((levels == 255) | (lengths > 1))
    if len(odd) and check:
        raise fields.refuse(int(odd[0]), index, "is no level", "write 0, 1 or X in the column of a line")
    return levels, not len(odd)


def _holds_bytes(fields: Fields, index: int, told: set[str]) -> bool:
    """Whether the column holds whole bytes: told by its name, by what is mapped, or by what its fields look like."""
    name = fields.layout.names[index]
    starts, lengths = fields.column(index)
    if name.lower() in BYTES:
        return True
    if name.lower() in LINES:
        return False
    if _levels(fields, index, check=False)[1]:  # what is mapped may be a line by mistake
        return name.endswith(":0]")
    if {name, name.rpartition("[")[0], str(index + 1)} & told:
        return True
    return bool(
        (lengths == 8).all() or ((lengths > 1).any() and _Spelled(fields.text, starts, lengths).good.all())
    )


def _byte_levels(fields: Fields, index: int, bases: dict[int, int]) -> Levels:
    """Eight levels for each row, bit 0 first: binary (eight characters), hexadecimal or decimal fields.

    `bases` says in which base the numbers of a column are that do not say so themselves; a column that is not yet in it
    is added.
    """
    starts, lengths = fields.column(index)
    text = fields.text
    if ((lengths == 8) | (lengths == 0)).all():
        spots = np.minimum(starts[:, None] + np.arange(7, -1, -1), len(text) - 1)
        levels = np.where(lengths[:, None] == 0, np.uint8(UNKNOWN), LEVEL[text[spots]])
        odd = np.flatnonzero((levels == 255).any(axis=1))
        if len(odd):
            raise fields.refuse(
                int(odd[0]), index, "is not eight bits", "write eight of 0, 1 and X, bit 7 first"
            )
        return levels
    spelled = _Spelled(text, starts, lengths)
    layout = fields.layout
    words = set(re.split(r"[^0-9a-z]+", f"{layout.names[index]} {layout.units[index]}".lower()))
    if index not in bases and spelled.bare.any():
        bases[index] = 16 if words & HEXADECIMAL or (spelled.hexadecimal and not words & DECIMAL) else 10
    hexadecimal = spelled.marked | (bases.get(index) == 16)
    values = np.where(hexadecimal, spelled.value(16), spelled.value(10))
    odd = np.flatnonzero(~spelled.good | ((values > 255) & ~spelled.gap))
    if len(odd):
        raise fields.refuse(
            int(odd[0]), index, "is no byte", "write eight bits, 00 to ff with 0x, or 0 to 255"
        )
    levels = ((values[:, None] >> np.arange(8)) & 1).astype(np.uint8)
    levels[spelled.gap] = UNKNOWN
    return levels


class _Spelled:
    """Fields as numbers of up to a byte: `marked` are hexadecimal by a 0x before or an h behind them, `bare` are not.

    `hexadecimal` says that bare ones are, too: letters stand in some, or all have two digits and some of these
    begin with 0. `good` are numbers at all, or gaps.
    """

    def __init__(self, text: Bytes, starts: Ints, lengths: Ints) -> None:
        def at(places: Ints) -> Bytes:
            return text[np.clip(places, 0, len(text) - 1)]

        self.gap = (lengths == 0) | ((lengths == 1) & (LEVEL[at(starts)] == UNKNOWN))
        before = (lengths >= 3) & (at(starts) == ord("0")) & ((at(starts + 1) | 0x20) == ord("x"))
        behind = (lengths >= 2) & ((at(starts + lengths - 1) | 0x20) == ord("h")) & ~before
        self.marked = before | behind
        count = lengths - 2 * before - behind
        spots = (starts + 2 * before)[:, None] + np.arange(3)
        inside = np.arange(3) < count[:, None]
        self.digits = np.where(inside, DIGIT[at(spots)], 0).astype(np.int64)
        self.count = np.clip(count, 0, 3)
        letters = (self.digits > 9).any(axis=1)
        self.bare = bare = ~self.marked & ~self.gap
        zeros = bare & (self.digits[:, 0] == 0)
        self.hexadecimal = bool((bare & letters).any() or (zeros.any() and (count[bare] == 2).all()))
        known = (self.digits < OTHER).all(axis=1) & (count >= 1)
        self.good = self.gap | (known & np.where(letters | self.marked, count <= 2, count <= 3))

    def value(self, base: int) -> Ints:
        found = np.zeros(len(self.count), np.int64)
        for place in range(3):
            more = place < self.count
            found = np.where(more, found * base + self.digits[:, place], found)
        # A letter is no decimal digit: beyond any byte, so that it is refused.
        return np.where((self.digits >= base).any(axis=1), 1 << 20, found)
