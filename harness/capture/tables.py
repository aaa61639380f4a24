"""Reads a CSV recording, piece by piece and column by column, to a capture.

Theory of operation. The layout is found once, from the head of the file. The rows are then read in pieces of some
megabytes, so that the places of all fields never have to be held at once: blanks, quotes and apostrophes (digit
groups) are struck out, fields are found by their delimiters, and of each line only the changes are kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from forelight.sim.errors import CaptureError
from forelight.sim.levels import LEVEL, UNKNOWN
from forelight.sim.traces.columns import Ints, integers
from numpy.typing import NDArray

from .columns import BYTES, Chosen, Column, match_columns
from .layout import TableLayout, find_layout
from .numbers import numbers
from .record import Capture, Floats, Levels, RecordedLine, changes_only, quantum

PIECE = 1 << 22  # bytes that are handled at a time


class Fields:
    """The fields of some rows: for each column, first byte and length in one flat text without blanks and quotes."""

    def __init__(self, body: bytes, layout: TableLayout, place: str, first: int) -> None:
        self.place, self.layout, self.first = place, layout, first
        for blank in ("\u00a0", "\u2009", "\u202f"):
            body = body.replace(blank.encode(), b"")
        body = body.replace("µ".encode(), b"u").replace("μ".encode(), b"u")
        if b"\r" in body:
            body = body.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        body = body.translate(None, b" \"'")
        self.text = np.frombuffer(body, np.uint8)
        stops = np.flatnonzero((self.text == ord("\n")) | (self.text == ord(layout.delimiter)))
        count = len(layout.names)
        last = self.text[stops] == ord("\n")
        widths = np.diff(np.flatnonzero(last), prepend=-1)
        uneven = np.flatnonzero(widths != count)
        if len(uneven):
            raise CaptureError(
                f"{widths[uneven[0]]} fields where the rows before have {count}",
                place=self.where(int(uneven[0])),
                remedy="the file was cut short or edited: export it again",
            )
        self.rows = len(widths)
        self.starts = np.r_[0, stops[:-1] + 1].reshape(-1, count)
        self.stops = stops.reshape(-1, count)

    def where(self, row: int) -> str:
        return f"{self.place}, line {self.layout.line + self.first + row}"

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
            f"'{self.cell(row, index)}' in column '{name}' {what}", place=self.where(row), remedy=remedy
        )


def read_table(data: bytes, place: str, mapping: Mapping[str, str], labels: Mapping[str, str]) -> Capture:
    """A table in UTF-8 to a capture.

    Raises CaptureError, with line and column, for what cannot be read or may mean two things.
    """
    data = _without_quoted_commas(data)
    layout = find_layout(data, place)
    chosen: Chosen = {}
    notes: list[str] = []
    columns: list[Column] = []
    got: dict[str, list[RecordedLine]] = {}
    first, last, unit, period = 0.0, -np.inf, layout.clock, 0.0
    for fields in _pieces(data, layout, place):
        times, unit = _times(fields, last)
        if not columns:
            columns = _columns(fields)
            chosen, notes = match_columns(columns, mapping, labels, place)
            got = {name: [] for name in chosen}
            first, period = float(times[0]), _period(times, layout)
        last = float(times[-1])
        whole: dict[int, Levels] = {}
        for name, (index, bit) in chosen.items():
            if columns[index].width == 1:
                levels = _levels(fields, index)[0]
            else:
                if index not in whole:
                    whole[index] = _byte_levels(fields, index)
                levels = whole[index][:, bit]
            got[name].append(
                _seen_at_steps(times, levels) if unit == "steps" else changes_only(times, levels)
            )
    lines = {name: _joined(parts) for name, parts in got.items()}
    end = last + (1.0 if unit == "steps" else period)
    return Capture(lines, first, end, unit, period, place, (*layout.notes, *notes))


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
    end = len(data.rstrip())
    start, row = layout.offset, 0
    while start < end:
        cut = data.find(b"\n", min(start + PIECE, end))
        stop = end if cut < 0 or cut >= end else cut + 1
        fields = Fields(data[start:stop] + (b"\n" if stop == end else b""), layout, place, row)
        yield fields
        start, row = stop, row + fields.rows


def _joined(parts: list[RecordedLine]) -> RecordedLine:
    return changes_only(np.concatenate([p.times for p in parts]), np.concatenate([p.levels for p in parts]))


def _columns(fields: Fields) -> list[Column]:
    """What each column may hold: the time column nothing, nor a count of steps beside it."""
    layout = fields.layout
    columns = [
        Column(name, 8 if _holds_bytes(fields, index) else 1) for index, name in enumerate(layout.names)
    ]
    for index, name in enumerate(layout.names):
        counts = name.lower() == "step" and not _levels(fields, index, check=False)[1]
        if index == layout.time or (counts and layout.time is not None):
            columns[index] = Column("", 0)
    return columns


def _times(fields: Fields, before: float) -> tuple[Floats, str]:
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


def _period(times: Floats, layout: TableLayout) -> float:
    """The time between two samples; 0 where the rows are changes."""
    if layout.time is None or layout.clock == "samples":
        return 1 / (layout.rate or 1.0)
    return 0.0 if layout.clock == "steps" else quantum(times)


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


def _holds_bytes(fields: Fields, index: int) -> bool:
    """Whether the column holds whole bytes: told by its name, or by eight characters to a field."""
    name = fields.layout.names[index].lower()
    _, lengths = fields.column(index)
    return name in BYTES or bool(len(lengths) and (lengths == 8).all())


def _byte_levels(fields: Fields, index: int) -> Levels:
    """Eight levels for each row, bit 0 first: binary (eight characters), hexadecimal (0x..) or decimal fields."""
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
    values, good = _plain_bytes(fields, starts, lengths)
    odd = np.flatnonzero(~good)
    if len(odd):
        raise fields.refuse(int(odd[0]), index, "is no byte", "write eight bits, 0x00 to 0xff, or 0 to 255")
    levels = ((values[:, None] >> np.arange(8)) & 1).astype(np.uint8)
    levels[values < 0] = UNKNOWN
    return levels


def _plain_bytes(fields: Fields, starts: Ints, lengths: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """Hexadecimal after 0x, decimal otherwise; -1 for a gap."""
    text = fields.text
    values, good = integers(text, starts, lengths)
    prefixed = (
        (lengths >= 3) & (lengths <= 4) & ((text[np.minimum(starts + 1, len(text) - 1)] | 0x20) == ord("x"))
    )
    for row in np.flatnonzero(prefixed).tolist():
        try:
            values[row], good[row] = int(text[starts[row] : starts[row] + lengths[row]].tobytes(), 16), True
        except ValueError:
            good[row] = False
    gap = (lengths == 0) | ((lengths == 1) & (LEVEL[text[starts]] == UNKNOWN))
    return np.where(gap, -1, values), (good & (values >= 0) & (values <= 255)) | gap
