"""Reads a CSV recording, column by column, to a capture."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from forelight.sim.columns import Ints, integers
from forelight.sim.errors import CaptureError
from numpy.typing import NDArray

from .columns import BYTES, Column, match_columns
from .layout import Layout, find_layout
from .numbers import numbers
from .record import GAP, Capture, Floats, Levels, Line, changes_only, quantum

LEVEL = np.full(256, 255, np.uint8)
for _characters, _level in (("0lL", 0), ("1hH", 1), ("xXzZuU?-", GAP)):
    for _character in _characters:
        LEVEL[ord(_character)] = _level


class Fields:
    """The fields of the data rows: for each column, first byte and length in one flat text without blanks and
    quotes."""

    def __init__(self, data: bytes, layout: Layout, place: str) -> None:
        self.place, self.layout = place, layout
        body = data[layout.offset :]
        for blank in ("\u00a0", "\u2009", "\u202f"):
            body = body.replace(blank.encode(), b"")
        body = body.replace("µ".encode(), b"u").replace("μ".encode(), b"u")
        if b"\r" in body:
            body = body.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        body = body.translate(None, b" \"'").rstrip(b"\n") + b"\n"
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
        return f"{self.place}, line {self.layout.line + row}"

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
    """Raises CaptureError, with line and column, for what cannot be read or may mean two things."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        data = data.decode("utf-16", "replace").encode()
    data = data.removeprefix(b"\xef\xbb\xbf")
    layout = find_layout(data, place)
    fields = Fields(data, layout, place)
    columns = [
        Column(name, 8 if _holds_bytes(fields, index) else 1) for index, name in enumerate(layout.names)
    ]
    for index, name in enumerate(layout.names):
        counts = name.lower() == "step" and not _levels(fields, index, check=False)[1]
        if index == layout.time or (counts and layout.time is not None):
            columns[index] = Column("", 0)
    chosen, notes = match_columns(columns, mapping, labels, place)
    times, unit, period = _times(fields)
    lines: dict[str, Line] = {}
    whole: dict[int, Levels] = {}
    for name, (index, bit) in chosen.items():
        if columns[index].width == 1:
            levels = _levels(fields, index)[0]
        else:
            if index not in whole:
                whole[index] = _byte_levels(fields, index)
            levels = whole[index][:, bit]
        lines[name] = _seen_at_steps(times, levels) if unit == "steps" else changes_only(times, levels)
    end = float(times[-1]) + (1.0 if unit == "steps" else period)
    return Capture(lines, float(times[0]), end, unit, period, place, (*layout.notes, *notes))


def _times(fields: Fields) -> tuple[Floats, str, float]:
    """The time of each row, what it counts, and the sample period (0 where rows are changes)."""
    layout = fields.layout
    if layout.time is None:
        if layout.rate is None:
            raise CaptureError(
                "there is neither a column of times nor a sample rate in the heading",
                place=fields.where(0),
                remedy="name a column time_s, sample or step, or state the sample rate above the data",
            )
        return np.arange(fields.rows) / layout.rate, "seconds", 1 / layout.rate
    starts, lengths = fields.column(layout.time)
    times, good = numbers(fields.text, starts, lengths)
    if not good.all():
        row = int(np.flatnonzero(~good)[0])
        raise fields.refuse(row, layout.time, "is no time", "export the recording again, or mend the line")
    back = np.flatnonzero(np.diff(times) < 0)
    if len(back):
        raise fields.refuse(
            int(back[0]) + 1, layout.time, "lies before the row above", "give one recording, in order of time"
        )
    if layout.clock == "samples":
        rate = layout.rate or 1.0
        return times / rate, "seconds" if layout.rate else "samples", 1 / rate
    times = times * layout.scale
    return times, layout.clock, 0.0 if layout.clock == "steps" else quantum(times)


def _seen_at_steps(times: Floats, levels: Levels) -> Line:
    """What was seen at some steps: nothing is known about those in between."""
    after = times[:-1] + 1
    gap = after < times[1:]
    when = np.concatenate([times, after[gap]])
    level = np.concatenate([levels, np.full(int(gap.sum()), GAP, np.uint8)])
    order = np.argsort(when, kind="stable")
    return changes_only(when[order], level[order])


def _levels(fields: Fields, index: int, check: bool = True) -> tuple[Levels, bool]:
    """One level for each row, and whether all fields are such; an empty field is a gap."""
    starts, lengths = fields.column(index)
    levels = np.where(lengths == 0, np.uint8(GAP), LEVEL[fields.text[starts]])
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
        levels = np.where(lengths[:, None] == 0, np.uint8(GAP), LEVEL[text[spots]])
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
    levels[values < 0] = GAP
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
    gap = (lengths == 0) | ((lengths == 1) & (LEVEL[text[starts]] == GAP))
    return np.where(gap, -1, values), (good & (values >= 0) & (values <= 255)) | gap
