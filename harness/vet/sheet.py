"""What a datasheet must say before a stranger can bring its design up at the bench."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from forelight.designs.datasheet import DATASHEET_FILE, Datasheet

from ..boards.divider import codes_for
from ..boards.profile import Board
from .finding import Finding

#: Begins every text of a draft that its author has still to write.
MARK = "FILL IN"
#: A rate this near to the wanted one is as good, for eye and ear (common practice, no source).
NEAR = 0.1


def sheet(datasheet: Datasheet, board: Board) -> list[Finding]:
    """All findings of this file."""
    return [*_marks(datasheet), *_texts(datasheet), *_runs(datasheet), *_rate(datasheet, board)]


def _marks(datasheet: Datasheet) -> Iterator[Finding]:
    """What the draft left to the author, in the datasheet and in the sources."""
    for name in (DATASHEET_FILE, *datasheet.sources):
        path = datasheet.folder / name
        for number, line in enumerate(_lines(path), 1):
            if MARK in line:
                wanted = re.split(r'["\n]', line.partition(MARK)[2])[0].strip(" :.")
                yield Finding("mark", f"still to be filled in: {wanted}", f"{name}:{number}", must=True)


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return []


def _texts(datasheet: Datasheet) -> Iterator[Finding]:
    for key, text in (
        ("creator", datasheet.creator),
        ("license", datasheet.license),
        ("description", datasheet.description),
    ):
        if not text.strip():
            yield Finding(key, f"the datasheet gives no {key}: add {key} = ...", DATASHEET_FILE, must=True)


def _runs(datasheet: Datasheet) -> Iterator[Finding]:
    if not datasheet.runs:
        yield Finding(
            "runs", "there is no [[run]]: give one with a name, do and expect", DATASHEET_FILE, must=True
        )
    for run in datasheet.runs:
        if not run.expect.strip():
            yield Finding(
                run.name,
                f'run "{run.name}" does not say what to expect: add expect = ...',
                DATASHEET_FILE,
                must=True,
            )


def _rate(datasheet: Datasheet, board: Board) -> Iterator[Finding]:
    """Whether the board can step the design as fast, or as slowly, as its author wants."""
    step = datasheet.step
    if step is None:
        return
    if step.wanted_hz is None:
        yield Finding(
            "step", "the datasheet does not say at which rate to step: add wanted_hz", DATASHEET_FILE
        )
        return
    nearest = float(codes_for(board, step.wanted_hz)[0].hz)
    if abs(nearest / step.wanted_hz - 1) > NEAR:
        kind = "slower" if nearest < step.wanted_hz else "faster"
        yield Finding(
            "step",
            f"{kind} than wanted: {step.wanted_hz:g} Hz is asked for, and {board.name} comes no nearer than "
            f"{nearest:g} Hz",
        )
