"""Reads back the goldens that `write.py` writes; a damaged one is refused with its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim.errors import CaptureError
from forelight.sim.files import INPUTS
from forelight.sim.traces import vcd
from forelight.sim.traces.columns import Bytes, Ints, integers
from numpy.typing import NDArray

from .golden import Golden, Race
from .write import HEAD, digits

_ROWS = 1 << 16  # rows that are read at a time
_FIELDS = 26  # the last three fields of a row with the commas between them


def read_golden(path: Path) -> Golden:
    """Read what `write_golden` wrote; a CSV needs its side file.

    A VCD holds no steps: they are counted again where the step line is one of the inputs, and are 0 elsewhere.
    Raises CaptureError for a file that is missing, damaged, or no golden.
    """
    if path.suffix == ".vcd":
        text = _text(path)
        head = text[: text.find("$enddefinitions")]
        facts = _facts("\n".join(re.findall(r"^\$comment (.*) \$end$", head, re.MULTILINE)), path)
        return _from_vcd(text, facts, path)
    if path.suffix == ".csv":
        side = path.with_suffix(".toml")
        return _from_csv(_bytes(path), _facts(_text(side), side), path)
    raise CaptureError(
        f"the ending '{path.suffix}' is not that of a golden", place=str(path), remedy="allowed: .csv, .vcd"
    )


def _text(path: Path) -> str:
    try:
        return _bytes(path).decode()
    except UnicodeDecodeError:
        raise _damaged("it is not text", str(path)) from None


def _bytes(path: Path) -> bytes:
    try:
        INPUTS.note(path)
        return path.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise CaptureError(
            f"cannot read the golden: {reason}",
            place=str(path),
            remedy="write it again with `forelight golden`",
        ) from None


def _facts(text: str, path: Path) -> dict[str, Any]:
    """The facts by their keys, and under `races` and `suspects` those that are named."""
    try:
        facts = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, or a number that is too long
        raise _damaged(f"its facts are not TOML: {error}", str(path)) from None
    for key, kind in (("board", str), ("oscillator_hz", int), ("end_ticks", int)):
        if not isinstance(facts.get(key), kind):
            raise _damaged(f"its facts lack {key}", str(path))
    if not 1 <= facts["oscillator_hz"] <= 10**12:
        raise _damaged(f"its oscillator runs at {facts['oscillator_hz']} Hz", str(path))
    try:
        races = {key: tuple(map(_race, facts.pop(key, ()))) for key in ("races", "suspects")}
    except (AttributeError, KeyError, TypeError, ValueError):
        raise _damaged("its races lack something", str(path)) from None
    for key in races:
        facts.pop(f"{key}_found", None)
    return {key: value for key, value in facts.items() if isinstance(value, (str, int))} | races


def _race(row: Mapping[str, Any]) -> Race:
    names = (tuple(row[key].split()) for key in ("lines", "outputs", "registers"))
    return Race(int(row["tick"]), int(row["step"]), *names)


def _damaged(what: str, place: str) -> CaptureError:
    return CaptureError(
        f"this is no golden, or a damaged one: {what}",
        place=place,
        remedy="write it again with `forelight golden`",
    )


def _golden(facts: dict[str, Any], columns: Mapping[str, Any]) -> Golden:
    board, hz, end = facts.pop("board"), facts.pop("oscillator_hz"), facts.pop("end_ticks")
    races, suspects = facts.pop("races"), facts.pop("suspects")
    return Golden(
        board=board, oscillator_hz=hz, end=end, facts=facts, races=races, suspects=suspects, **columns
    )


def _from_csv(data: bytes, facts: dict[str, Any], path: Path) -> Golden:
    head, newline, body = data.partition(b"\n")
    if head.rstrip(b"\r").decode(errors="replace") != HEAD:
        raise _damaged(f"the columns are not {HEAD}", f"{path}, line 1")
    if not newline or not body.endswith(b"\n"):
        raise _damaged("the last line is cut off", str(path))
    flat = np.frombuffer(body, np.uint8)
    ends = np.flatnonzero(flat == ord("\n"))
    starts = np.concatenate(([0], ends[:-1] + 1))
    hz = facts["oscillator_hz"]
    blocks = []
    for first in range(0, len(ends), _ROWS):
        rows = slice(first, first + _ROWS)
        block = _Block(flat, starts[rows], ends[rows], f"{path}, line ", first + 2)
        blocks.append(block.columns(hz))
    columns = {name: np.concatenate([block[name] for block in blocks]) for name in blocks[0]}
    ticks = columns["ticks"]
    early = np.flatnonzero(ticks[1:] <= ticks[:-1])
    if len(early):
        raise _damaged("a time that does not come after the one before", f"{path}, line {early[0] + 3}")
    return _golden(facts, columns)


class _Block:
    """Some lines of a golden CSV, all at once: where each starts and ends in `flat`.

    `place` and `number` name the first in messages.
    """

    def __init__(self, flat: Bytes, starts: Ints, ends: Ints, place: str, number: int) -> None:
        self.flat = flat
        self.starts = starts
        self.ends = ends - (flat[ends - 1] == ord("\r"))
        self.place = place
        self.number = number

    def columns(self, hz: int) -> dict[str, NDArray[Any]]:
        """The columns of a Golden. Raises CaptureError for the first line that does not fit."""
        self.check(self.ends - self.starts > _FIELDS, "too few characters")
        tail = self.flat[(self.ends - _FIELDS)[:, None] + np.arange(_FIELDS)]
        commas = (tail[:, [8, 17]] == ord(",")).all(axis=1)
        self.check(commas, "the last three fields are not eight characters each")
        inputs, outputs, claims = tail[:, 0:8], tail[:, 9:17], tail[:, 18:26]
        for column, letters in ((inputs, b"01"), (outputs, b"01x"), (claims, b"psx")):
            known = np.isin(column, np.frombuffer(letters, np.uint8)).all(axis=1)
            self.check(known, f"a letter that is none of {letters.decode()}")
        unsettled = claims == ord("x")
        self.check(((outputs == ord("x")) == unsettled).all(axis=1), "outputs and claim disagree")
        seconds, places, steps = self.numbers()
        return {
            "ticks": seconds * hz + vcd.rescale(places, Fraction(hz, 10 ** digits(hz))),
            "steps": steps,
            "inputs": _packed(inputs == ord("1")),
            "outputs": _packed(outputs == ord("1")),
            "proved": _packed(claims == ord("p")),
            "sampled": _packed(claims == ord("s")),
        }

    def numbers(self) -> tuple[Ints, Ints, Ints]:
        """Whole seconds, the digits after the point, and the step."""
        stop = self.ends - _FIELDS - 1
        point, comma = self.first("."), self.first(",")
        self.check((point < comma) & (comma < stop) & (self.flat[stop] == ord(",")), "not five fields")
        seconds, good = integers(self.flat, self.starts, point - self.starts)
        places, fine = integers(self.flat, point + 1, comma - point - 1)
        steps, whole = integers(self.flat, comma + 1, stop - comma - 1)
        self.check(good & fine & whole, "a time or a step that is no number")
        return seconds, places, steps

    def first(self, mark: str) -> Ints:
        """Where a character first stands in each line; the end of the line where it does not."""
        low, high = self.starts[0], self.ends[-1]
        at = np.append(np.flatnonzero(self.flat[low:high] == ord(mark)) + low, high)
        found: Ints = np.minimum(at[np.searchsorted(at, self.starts)], self.ends)
        return found

    def check(self, good: Any, what: str) -> None:
        bad = np.flatnonzero(~good)
        if len(bad):
            line = self.flat[self.starts[bad[0]] : self.ends[bad[0]]][:60].tobytes().decode(errors="replace")
            raise _damaged(f"{what} in '{line}'", f"{self.place}{self.number + bad[0]}")


def _packed(bits: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Columns of bits, the highest first, to numbers."""
    return np.packbits(bits, axis=1)[:, 0]


def _from_vcd(text: str, facts: dict[str, Any], path: Path) -> Golden:
    trace = vcd.read(text, str(path))
    missing = [line for line in (*INPUT_LINES, *OUTPUT_LINES) if line not in trace.values]
    if missing:
        raise _damaged(f"it has no wire {missing[0]}", str(path))
    hz = facts["oscillator_hz"]
    ticks = vcd.rescale(trace.times, Fraction(hz, 10 ** digits(hz)))
    nothing = np.zeros(len(ticks), np.uint64)

    def byte(lines: tuple[str, ...], columns: Mapping[str, NDArray[np.uint64]]) -> NDArray[np.uint8]:
        bits = [columns.get(line, nothing).astype(np.uint8) << n for n, line in enumerate(lines)]
        found: NDArray[np.uint8] = np.bitwise_or.reduce(bits)
        return found

    inputs = byte(INPUT_LINES, trace.values)
    unsettled = byte(OUTPUT_LINES, trace.unknown)
    proved = np.uint8(int(str(facts.pop("proved", "0")), 2)) & ~unsettled
    step = str(facts.get("step_line", ""))
    levels = inputs >> INPUT_LINES.index(step) & 1 if step in INPUT_LINES else np.zeros_like(inputs)
    return _golden(
        facts,
        {
            "ticks": ticks,
            "steps": np.cumsum(np.diff(levels.astype(np.int8), prepend=0) == 1),
            "inputs": inputs,
            "outputs": byte(OUTPUT_LINES, trace.values) & ~unsettled,
            "proved": proved,
            "sampled": ~(proved | unsettled),
        },
    )
