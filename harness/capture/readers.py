"""Reads a recording: VCD, CSV as instruments and people write it, or a session of a logic analyser, to a capture."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from forelight.sim.errors import CaptureError
from forelight.sim.frozen import frozen
from forelight.sim.traces.dump import Dump, scan

from ..limits import stage
from .columns import Column, match_columns
from .eye import spelled_out
from .pipes import whole
from .record import Capture, RecordedLine, changes_only, sampled_every
from .session import MAGIC, read_session
from .tables import as_utf8, read_table

Names = Mapping[str, str]
NO_MAPPING: Names = {}
#: Stands for standard input where a file is named.
PIPE = "-"
#: What errors call it.
PIPED = "standard input"


def read_capture(
    path: str | Path,
    mapping: Names = NO_MAPPING,
    labels: Names = NO_MAPPING,
    display: Names = NO_MAPPING,
) -> Capture:
    """Read the recording in the file `path`; `-` is standard input.

    `mapping` says which column or variable a line stands in (`{"o0": "CH3"}`; `outputs` and `inputs` stand for eight
    lines in one, `{"o": "CH"}` for a numbered series, as `match_columns` has it); what it does not say is guessed from
    equal names, or from the `labels` that the board has at its pins (line -> label). `display` says which segment each
    output lights (line -> segment), for what an eye wrote down. Raises CaptureError, with place and remedy, for a file
    that is damaged or ambiguous.
    """
    place = PIPED if str(path) == PIPE else str(path)
    with stage(f"reading {place}"):
        return parse_capture(recorded_bytes(path), place, mapping, labels, display)


def recorded_bytes(path: str | Path) -> bytes:
    """The recording as it stands in the file, or on standard input. Raises CaptureError where it cannot be read."""
    if str(path) == PIPE:
        return sys.stdin.buffer.read()
    try:
        return whole(Path(path))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise CaptureError(
            f"cannot read the recording: {reason}", place=str(path), remedy="name a file that can be read"
        ) from None


def parse_capture(
    data: bytes,
    place: str,
    mapping: Names = NO_MAPPING,
    labels: Names = NO_MAPPING,
    display: Names = NO_MAPPING,
) -> Capture:
    """The same from bytes; `place` is what errors name."""
    layout = next(each for each in LAYOUTS.values() if each.knows(data))
    return layout.read(data, place, mapping, labels, display)


def _session(data: bytes, place: str, mapping: Names, labels: Names, display: Names) -> Capture:
    return read_session(data, place, mapping, labels)


def _dump(data: bytes, place: str, mapping: Names, labels: Names, display: Names) -> Capture:
    whole, cut = _without_a_cut_line(data)
    capture = _from_dump(scan(whole, place), place, mapping, labels)
    return replace(capture, notes=(*cut, *capture.notes))


def _table(data: bytes, place: str, mapping: Names, labels: Names, display: Names) -> Capture:
    data, notes, signs = spelled_out(as_utf8(data), display, place)
    capture = read_table(data, place, mapping, labels)
    return replace(capture, notes=(*notes, *capture.notes), signs=signs)


@frozen
class LayoutReader:
    """`knows` tells files of this layout apart by how they begin; `read` takes what `parse_capture` takes."""

    knows: Callable[[bytes], bool]
    read: Callable[[bytes, str, Names, Names, Names], Capture]


#: The first that knows a file reads it; the last knows every file.
LAYOUTS = {
    "session": LayoutReader(lambda data: data.startswith(MAGIC), _session),
    "dump": LayoutReader(lambda data: data[:4096].lstrip()[:1] == b"$", _dump),
    "table": LayoutReader(lambda data: True, _table),
}


def _without_a_cut_line(data: bytes) -> tuple[bytes, tuple[str, ...]]:
    """A dump up to its last whole line, and what to say where that is not all of it."""
    stop = data.rfind(b"\n") + 1
    if data[-1:] <= b" " or not stop:
        return data, ()
    return data[:stop], ("The last line was cut short: the recording was used up to it.",)


def _from_dump(dump: Dump, place: str, mapping: Names, labels: Names) -> Capture:
    columns = [Column(v.name, v.width, v.identifier.decode("latin-1")) for v in dump.variables]
    chosen, notes = match_columns(columns, mapping, labels, place)
    unit = dump.unit
    if unit is None:
        notes.append("The dump has no $timescale: 1 ns was assumed.")
        unit = Fraction(1, 10**9)
    unit *= dump.part
    lines: dict[str, RecordedLine] = {}
    for name, (index, bit) in chosen.items():
        ticks, levels = dump.levels(dump.variables[index], bit)
        lines[name] = changes_only(ticks * np.float64(unit), levels)
    period = sampled_every(lines.values())
    return Capture(
        lines, dump.first * float(unit), dump.last * float(unit), "seconds", period, place, tuple(notes)
    )
