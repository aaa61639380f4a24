"""A golden to CSV (RFC 4180) with a side file in TOML, or to VCD (IEEE 1364).

The same golden gives the same bytes on every machine. Times are in seconds with fixed digits, as many as it takes to
get the tick back by rounding. Where an output is unsettled it is written as x.
"""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim import vcd
from forelight.sim.columns import Bytes, binary, decimal, join
from forelight.sim.errors import UsageError
from forelight.sim.files import write_whole
from forelight.sim.trace import Trace
from numpy.typing import NDArray

from .golden import Golden

HEAD = "time_s,step,inputs,outputs,claim"
_ROWS = 1 << 16  # rows that are laid out at a time


def write_golden(golden: Golden, path: Path) -> None:
    """Write `path`, whole or not at all: `.csv` with a `.toml` of the same name beside it, or `.vcd`.

    Raises UsageError for another ending, or a place that cannot be written.
    """
    if path.suffix == ".vcd":
        write_whole(path, to_vcd(golden))
    elif path.suffix == ".csv":
        write_whole(path.with_suffix(".toml"), side(golden))
        write_whole(path, to_csv(golden))
    else:
        raise UsageError(
            f"found the ending '{path.suffix}' for a golden", place=str(path), remedy="allowed: .csv, .vcd"
        )


def digits(oscillator_hz: int) -> int:
    """Digits after the point of a time in seconds: steps of less than half a tick."""
    return 9 if 2 * oscillator_hz <= 10**9 else 12


def to_csv(golden: Golden) -> bytes:
    """A row for each change, lines ending in CR LF."""
    hz, places = golden.oscillator_hz, digits(golden.oscillator_hz)
    parts = [HEAD.encode() + b"\r\n"]
    for start in range(0, len(golden.ticks), _ROWS):
        rows = slice(start, start + _ROWS)
        seconds, rest = np.divmod(golden.ticks[rows], hz)
        fraction = vcd.rescale(rest, Fraction(10**places, hz)) + 10**places
        inputs, outputs, settled, proved = (
            column[rows].astype(np.uint64)
            for column in (golden.inputs, golden.outputs, golden.settled, golden.proved)
        )
        unsettled = settled ^ np.uint64(0xFF)
        fields: list[Bytes | bytes] = [
            *(decimal(seconds), b".", decimal(fraction)[:, -places:], b","),
            *(decimal(golden.steps[rows]), b","),
            *(binary(inputs, None, 8), b","),
            *(binary(outputs, unsettled, 8), b","),
            *(_claims(proved, unsettled), b"\r\n"),
        ]
        parts.append(join(len(inputs), *fields))
    return b"".join(parts)


def side(golden: Golden) -> str:
    """The facts in TOML: board and time base first, then how the golden came about."""
    facts: dict[str, str | int] = {
        "board": golden.board,
        "oscillator_hz": golden.oscillator_hz,
        "end_ticks": golden.end,
    }
    facts |= golden.facts
    return "".join(f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in facts.items())


def to_vcd(golden: Golden) -> str:
    """A wire for each line; the facts, and which outputs are proved in all rows, stand in the comment."""
    unsettled = golden.settled ^ np.uint8(0xFF)
    values = {line: _bit(golden.inputs, n) for n, line in enumerate(INPUT_LINES)}
    values |= {line: _bit(golden.outputs, n) for n, line in enumerate(OUTPUT_LINES)}
    unknown = {line: _bit(unsettled, n) for n, line in enumerate(OUTPUT_LINES)}
    trace = Trace(golden.ticks, values, dict.fromkeys(values, 1), golden.end, unknown)
    proved = np.bitwise_and.reduce(golden.proved | unsettled) if len(golden.ticks) else 0
    comment = f'{side(golden)}proved = "{proved:08b}"\n'
    fine = digits(golden.oscillator_hz)
    scale = Fraction(10**fine, golden.oscillator_hz)
    return vcd.write(trace, timescale="1 ns" if fine == 9 else "1 ps", scale=scale, comment=comment)


def _claims(proved: NDArray[np.uint64], unsettled: NDArray[np.uint64]) -> Bytes:
    """p, s or x for each output, the highest first."""
    letters = np.full((len(proved), 8), ord("s"), np.uint8)
    letters[binary(proved, None, 8) == ord("1")] = ord("p")
    letters[binary(unsettled, None, 8) == ord("1")] = ord("x")
    return letters


def _bit(column: NDArray[np.uint8], number: int) -> NDArray[np.uint64]:
    return (column >> number & 1).astype(np.uint64)
