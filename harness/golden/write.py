"""A golden to CSV (RFC 4180) with a side file in TOML, or to VCD (IEEE 1364).

The same golden gives the same bytes on every machine. Times are in seconds with fixed digits, as many as it takes to
get the tick back by rounding. Where an output is unsettled it is written as x.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim.errors import UsageError
from forelight.sim.files import write_together, write_whole
from forelight.sim.traces import vcd
from forelight.sim.traces.columns import Bytes, beside, fixed
from forelight.sim.traces.trace import Trace
from numpy.typing import NDArray

from .golden import Golden, Race

HEAD = "time_s,step,inputs,outputs,claim"
#: Races that a side file names; it says how many there are.
MOST_RACES = 20
#: What a side file remarks on races, and on what only the proof suspects.
RACES = "Which of these lines is first decides what the outputs show from then on."
SUSPECTS = (
    "No proof rules out that which of these lines is first, or a glitch of a line alone, decides what the outputs "
    "show; all power-ups agreed."
)
APART = "Change inputs one at a time and with the step clock off, and nothing races."
_ROWS = 1 << 14  # rows that are laid out at a time


def write_golden(golden: Golden, path: Path, watched: Trace | None = None) -> None:
    """Write `path`, whole or not at all: `.csv` with a `.toml` of the same name beside it, or `.vcd`.

    Signals that are `watched`, in ticks, go into a `.vcd` only. Raises UsageError for another ending, or a place that
    cannot be written.
    """
    if path.suffix == ".vcd":
        write_whole(path, to_vcd(golden, watched))
    elif path.suffix == ".csv":
        write_together([(path.with_suffix(".toml"), side(golden)), (path, _csv(golden))])
    else:
        raise UsageError(
            f"the ending '{path.suffix}' is not that of a golden",
            place=str(path),
            remedy="allowed: .csv, .vcd",
        )


def digits(oscillator_hz: int) -> int:
    """Digits after the point of a time in seconds: steps of less than half a tick."""
    return 9 if 2 * oscillator_hz <= 10**9 else 12


def to_csv(golden: Golden) -> bytes:
    """A row for each change, lines ending in CR LF."""
    return b"".join(_csv(golden))


def _csv(golden: Golden) -> Iterator[bytes]:
    yield HEAD.encode() + b"\r\n"
    marks = _growing(golden.ticks // golden.oscillator_hz) | _growing(golden.steps)
    marks |= set(range(0, len(golden.ticks), _ROWS))
    bounds = [*sorted(marks), len(golden.ticks)]
    for start, end in pairwise(bounds):
        yield _block(golden, slice(start, end)).tobytes()


def _growing(values: NDArray[np.int64]) -> set[int]:
    """The rows in which a rising number first has one more digit."""
    powers = 10 ** np.arange(1, len(str(int(values[-1]))) if len(values) else 1)
    return set(np.searchsorted(values, powers).tolist())


def _block(golden: Golden, rows: slice) -> Bytes:
    """Rows whose times and steps have as many digits each as those of the others: a matrix of characters."""
    hz, places = golden.oscillator_hz, digits(golden.oscillator_hz)
    seconds, rest = np.divmod(golden.ticks[rows], hz)
    steps, inputs, outputs, proved, sampled = (
        column[rows]
        for column in (golden.steps, golden.inputs, golden.outputs, golden.proved, golden.sampled)
    )
    unsettled = ~(proved | sampled)
    shown = _EIGHT["01"][outputs] ^ _EIGHT["0x"][unsettled]
    claims = _EIGHT["sp"][proved] ^ _EIGHT["sx"][unsettled]
    return beside(
        *(fixed(seconds), b".", fixed(vcd.rescale(rest, Fraction(10**places, hz)), places), b","),
        *(fixed(steps), b","),
        *(_characters(_EIGHT["01"][inputs]), b","),
        *(_characters(shown), b","),
        *(_characters(claims), b"\r\n"),
    )


def _characters(eights: NDArray[np.uint64]) -> Bytes:
    return eights.view(np.uint8).reshape(-1, 8)


def _eight(low: str, high: str) -> NDArray[np.uint64]:
    """For each byte the eight letters of its bits, the highest first, as one number."""
    bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)
    letters: Bytes = np.where(bits, np.uint8(ord(high)), np.uint8(ord(low)))
    return letters.view(np.uint64)[:, 0]


#: Letters by bit; those with an x are to be combined with the others, and turn them into x where a bit is set.
_EIGHT = {"01": _eight("0", "1"), "sp": _eight("s", "p")}
_EIGHT["0x"] = _eight("\0", chr(ord("0") ^ ord("x")))
_EIGHT["sx"] = _eight("\0", chr(ord("s") ^ ord("x")))


def side(golden: Golden) -> str:
    """The facts in TOML: board and time base first, then how it came about, then the first races and suspects."""
    facts: dict[str, str | int] = {
        "board": golden.board,
        "oscillator_hz": golden.oscillator_hz,
        "end_ticks": golden.end,
    }
    facts |= golden.facts
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in facts.items()]
    for key, found, remark in (("races", golden.races, RACES), ("suspects", golden.suspects, SUSPECTS)):
        if found:
            named = ", ".join(map(_inline, found[:MOST_RACES]))
            lines.append(f"# {remark} {APART}\n{key}_found = {len(found)}\n{key} = [{named}]\n")
    return "".join(lines)


def _inline(race: Race) -> str:
    """A race as an inline table, its names in one string each."""
    words = {
        key: json.dumps(" ".join(getattr(race, key)), ensure_ascii=False)
        for key in ("lines", "outputs", "registers")
    }
    pairs = {"tick": race.tick, "step": race.step} | words
    return "{ " + ", ".join(f"{key} = {value}" for key, value in pairs.items()) + " }"


def to_vcd(golden: Golden, watched: Trace | None = None) -> str:
    """A wire for each line, and for each signal that is watched.

    The facts, and which outputs are proved in all rows, stand in the comment.
    """
    unsettled = golden.settled ^ np.uint8(0xFF)
    values = {line: _bit(golden.inputs, n) for n, line in enumerate(INPUT_LINES)}
    values |= {line: _bit(golden.outputs, n) for n, line in enumerate(OUTPUT_LINES)}
    unknown = {line: _bit(unsettled, n) for n, line in enumerate(OUTPUT_LINES)}
    trace = Trace(golden.ticks, values, dict.fromkeys(values, 1), golden.end, unknown)
    if watched is not None:
        trace = trace.beside(watched)
    proved = np.bitwise_and.reduce(golden.proved | unsettled) if len(golden.ticks) else 0
    comment = f'{side(golden)}proved = "{proved:08b}"\n'
    fine = digits(golden.oscillator_hz)
    scale = Fraction(10**fine, golden.oscillator_hz)
    return vcd.write(trace, timescale="1 ns" if fine == 9 else "1 ps", scale=scale, comment=comment)


def _bit(column: NDArray[np.uint8], number: int) -> NDArray[np.uint64]:
    return (column >> number & 1).astype(np.uint64)
