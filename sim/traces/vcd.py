"""Trace to and from VCD, the value change dump of IEEE 1364-2005, clause 18.

The text holds no date, so the same trace gives the same bytes. A trace counts time in whole units of its
own; the writer multiplies by `scale` and rounds to the nearest unit of the file. What a reader needs to
know beyond that goes into the comment.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..errors import CaptureError, UsageError
from .columns import Bytes, Ints, binary, decimal, join
from .trace import Trace

if TYPE_CHECKING:
    from .dump import Dump

ROWS = 1 << 15  # rows that are laid out at a time


def write(
    trace: Trace,
    *,
    timescale: str = "1 ns",
    scale: Fraction = Fraction(1),
    scope: str = "forelight",
    comment: str = "",
) -> str:
    """The trace as VCD text, a variable for each signal; unknown bits are x, and the trace's end is a bare
    time stamp.

    `scale` is how many units of `timescale` one unit of the trace is. Raises UsageError if the time scale
    is not one that the standard knows, or so coarse that two rows fall on one instant.
    """
    if not re.fullmatch(r"(1|10|100) ?([munpf]?s)", timescale):
        raise UsageError(
            f"'{timescale}' is no time scale of IEEE 1364",
            remedy="use 1, 10 or 100 of s, ms, us, ns, ps or fs",
        )
    trace = trace.compact()
    times = rescale(trace.times, scale)
    if len(times) > 1 and (np.diff(times) <= 0).any():
        raise UsageError(
            f"a time scale of {timescale} puts two rows on one instant", remedy="use a finer one"
        )
    names = sorted(trace.values, key=_by_number)
    identifiers = [_identifier(number) for number in range(len(names))]
    head = [
        f"$comment {line.strip()} $end" for line in comment.replace("$end", "").splitlines() if line.strip()
    ]
    head += ["$version Forelight $end", f"$timescale {timescale} $end", f"$scope module {scope} $end"]
    for name, identifier in zip(names, identifiers, strict=True):
        width = trace.widths[name]
        span = f" [{width - 1}:0]" if width > 1 else ""
        head.append(f"$var wire {width} {identifier} {name}{span} $end")
    head += ["$upscope $end", "$enddefinitions $end", ""]
    body = [_rows(trace, times, names, identifiers, start) for start in range(0, len(times), ROWS)]
    end = int(rescale(np.array([trace.end]), scale)[0])
    tail = f"#{end}\n" if not len(times) or end > times[-1] else ""
    return "\n".join(head) + b"".join(body).decode() + tail


def rescale(times: Ints, scale: Fraction) -> Ints:
    """Times in another unit, rounded to the nearest whole (a half goes up), exactly."""
    whole, up, down = (
        scale.numerator // scale.denominator,
        scale.numerator % scale.denominator,
        scale.denominator,
    )
    if up and len(times) and int(np.abs(times).max()) > (1 << 62) // (2 * up + 1):
        parts = [(int(t) * up * 2 + down) // (2 * down) for t in times]  # beyond 64 bits: Python's integers
        return times * whole + np.array(parts, np.int64)
    return times * whole + (times * (2 * up) + down) // (2 * down)


def _by_number(name: str) -> tuple[str, int]:
    stem, digits = re.fullmatch(r"(.*?)(\d*)", name, re.DOTALL).groups()  # type: ignore[union-attr]
    return stem, int(digits or -1)


def _identifier(number: int) -> str:
    """The printable characters ! to ~ as digits, shortest first."""
    text = chr(33 + number % 94)
    while number >= 94:
        number = number // 94 - 1
        text = chr(33 + number % 94) + text
    return text


def _rows(trace: Trace, times: Ints, names: list[str], identifiers: list[str], start: int) -> bytes:
    """The rows from `start` on: a time stamp and the signals that change there."""
    rows = slice(start, min(start + ROWS, len(times)))
    count = rows.stop - start
    parts: list[Bytes | bytes] = [b"#", decimal(times[rows]), b"\n"]
    if start == 0:
        opening = np.zeros((count, len(b"$dumpvars\n")), np.uint8)
        opening[0] = np.frombuffer(b"$dumpvars\n", np.uint8)
        parts.append(opening)
    for name, identifier in zip(names, identifiers, strict=True):
        unknown = trace.unknown.get(name)
        width = trace.widths[name]
        text = binary(trace.values[name][rows], None if unknown is None else unknown[rows], width)
        before, after = (b"b", f" {identifier}\n") if width > 1 else (b"", f"{identifier}\n")
        changed = _changed(trace.values[name], start, rows.stop)
        if unknown is not None:
            changed |= _changed(unknown, start, rows.stop)
        for part in (before, text, after.encode()):
            column = (
                np.broadcast_to(np.frombuffer(part, np.uint8), (count, len(part)))
                if isinstance(part, bytes)
                else part
            )
            parts.append(column * changed[:, None].astype(np.uint8))
    if start == 0:
        closing = np.zeros((count, len(b"$end\n")), np.uint8)
        closing[0] = np.frombuffer(b"$end\n", np.uint8)
        parts.append(closing)
    return join(count, *parts)


def _changed(column: NDArray[np.uint64], start: int, stop: int) -> NDArray[np.bool_]:
    rows = np.ones(stop - start, bool)
    rows[start == 0 :] = column[max(start, 1) : stop] != column[max(start, 1) - 1 : stop - 1]
    return rows


def read(data: str | bytes, place: str = "") -> Trace:
    """VCD text as a trace, a signal for each variable of up to 64 bits.

    Times are in the file's own unit, or in the part of it that makes all of them whole. Signals are named by their last
    name where that is unique, by their whole path otherwise; real and string variables are left out. Raises
    CaptureError with the line for text that is damaged.
    """
    from .dump import scan

    dump = scan(data.encode() if isinstance(data, str) else data, place)
    wanted = [v for v in dump.variables if v.width <= 64 and v.holds_bits]
    leaves = [bare(v.leaf) for v in wanted]
    names = [
        leaf if leaves.count(leaf) == 1 else bare(v.name) for v, leaf in zip(wanted, leaves, strict=True)
    ]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise CaptureError(f"two variables are named '{twice}'", place=place, remedy="rename one of them")
    times = dump.times()
    values, unknown = {}, {}
    for name, variable in zip(names, wanted, strict=True):
        values[name], unknown[name] = _column(dump, variable.identifier, times)
    widths = {name: variable.width for name, variable in zip(names, wanted, strict=True)}
    unknown = {name: mask for name, mask in unknown.items() if mask.any()}
    return Trace(times, values, widths, max(dump.last, int(times[-1])), unknown).compact()


def bare(name: str) -> str:
    """A variable's name without its range: `bus[7:0]` is `bus`, but `bus[3]` stays."""
    return re.sub(r"\[-?\d+:-?\d+\]$", "", name)


def _column(dump: Dump, identifier: bytes, times: Ints) -> tuple[NDArray[np.uint64], NDArray[np.uint64]]:
    """One variable at each of the times, unknown before its first change."""
    variable = next(v for v in dump.variables if v.identifier == identifier)
    when, value, unknown = dump.changes(variable)
    row = np.searchsorted(when, times, side="right") - 1
    all_bits = np.uint64((1 << variable.width) - 1)
    if not len(when):
        return np.zeros(len(times), np.uint64), np.full(len(times), all_bits)
    before = row < 0
    return np.where(before, np.uint64(0), value[row]), np.where(before, all_bits, unknown[row])
