"""Trace to and from CSV (RFC 4180): a time column and a column of bits for each signal.

Bits are 0, 1 and x, the highest first. A row stands for each change; one more repeats the last values at
the trace's end.
"""

from __future__ import annotations

import csv
import io

import numpy as np

from ..errors import CaptureError
from .columns import Bytes, binary, decimal, join
from .trace import Trace

ROWS = 1 << 16  # rows that are laid out at a time


def write(trace: Trace, *, time: str = "time") -> str:
    """The trace as CSV text; `time` heads the first column. Lines end in CR LF, as RFC 4180 has them."""
    trace = trace.compact()
    names = list(trace.values)
    head = io.StringIO(newline="")
    csv.writer(head).writerow([time, *names])
    times = trace.times
    rows = np.arange(len(times))
    if len(times) and trace.end > times[-1]:
        times, rows = np.r_[times, trace.end], np.r_[rows, rows[-1]]
    body = []
    for start in range(0, len(times), ROWS):
        chosen = rows[start : start + ROWS]
        parts: list[Bytes | bytes] = [decimal(times[start : start + ROWS])]
        for name in names:
            unknown = trace.unknown.get(name)
            mask = None if unknown is None else unknown[chosen]
            parts += [b",", binary(trace.values[name][chosen], mask, trace.widths[name])]
        body.append(join(len(chosen), *parts, b"\r\n"))
    return head.getvalue() + b"".join(body).decode()


def read(text: str, place: str = "") -> Trace:
    """CSV text as `write` makes it. Raises CaptureError with the line for a row that does not fit."""
    place = place or "table"
    try:
        table = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise CaptureError(f"the text is not CSV: {error}", place=place, remedy="mend the quotes") from None
    if len(table) < 2:
        raise CaptureError(
            "there are no rows under the heading", place=place, remedy="give a row for each change"
        )
    names, rows = table[0][1:], table[1:]
    for line, row in enumerate(rows, start=2):
        _check_row(row, rows[0], line, place)
    times = np.array([int(row[0]) for row in rows], np.int64)
    back = np.flatnonzero(np.diff(times) <= 0)
    if len(back):
        found = f"the time {times[back[0] + 1]} does not come after {times[back[0]]}"
        raise CaptureError(
            found, place=f"{place}, line {back[0] + 3}", remedy="sort the rows by time, a row a time"
        )
    widths = {name: len(rows[0][column]) for column, name in enumerate(names, start=1)}
    values, unknown = {}, {}
    for column, name in enumerate(names, start=1):
        fields = [row[column].lower() for row in rows]
        values[name] = np.array([int(field.replace("x", "0"), 2) for field in fields], np.uint64)
        mask = np.array([int(field.replace("1", "0").replace("x", "1"), 2) for field in fields], np.uint64)
        if mask.any():
            unknown[name] = mask
    return Trace(times, values, widths, int(times[-1]), unknown).compact()


def _check_row(row: list[str], first: list[str], line: int, place: str) -> None:
    where = f"{place}, line {line}"
    if len(row) != len(first):
        raise CaptureError(
            f"{len(row)} fields where {len(first)} stand in the first row",
            place=where,
            remedy="give each row the same columns",
        )
    if not row[0].removeprefix("-").isdecimal():
        raise CaptureError(
            f"the time '{row[0]}' is not a whole number", place=where, remedy="give times in whole units"
        )
    for field, model in zip(row[1:], first[1:], strict=True):
        if len(field) != len(model) or not field or set(field.lower()) - set("01x"):
            raise CaptureError(
                f"'{field}' is not {len(model)} bits of 0, 1 and x",
                place=where,
                remedy="write all bits, the highest first",
            )
