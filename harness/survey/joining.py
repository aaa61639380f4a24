"""Joins notebooks: tries are told apart by their ids, so joining twice adds nothing."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from forelight.designs.catalogue import is_there

from .answers import text
from .attempt import Details
from .notebook import Notebook, reading, writing


@dataclass(frozen=True)
class Joined:
    """What came from one notebook: how many tries it holds, how many were new, how many recordings were; and how many
    known tries say something else there, which somebody must have changed."""

    file: Path
    tries: int
    new: int
    recordings: int
    otherwise: int


def join(into: Path, others: Sequence[Path]) -> list[Joined]:
    """Put what others hold into the notebook `into`, all or nothing; it is begun if there is none."""
    for other in others:
        with reading(other):  # before anything is begun
            pass
    with writing(into) as notebook:
        return [_take(notebook, other) for other in others]


def _take(notebook: Notebook, file: Path) -> Joined:
    known = {attempt.id: attempt for attempt in notebook.attempts()}
    chips = notebook.chips()
    with reading(file) as other:
        attempts = other.attempts()
        fresh = [attempt for attempt in attempts if attempt.id not in known]
        details = other.details(attempt.id for attempt in fresh)
        boards = {name: chip for name, chip in other.chips().items() if name not in chips}
        for attempt in fresh:
            chip = boards.pop(attempt.board, None)
            if chip is not None:
                chip = replace(chip, asked=retold(chip.asked, file.parent, notebook.path.parent))
            notebook.add(attempt, _found_from(notebook.path, file, details[attempt.id]), None, chip)
        # Also what only the other kept of a try that both know.
        wanted = {attempt.recording for attempt in attempts if attempt.recording}
        new = (wanted & other.kept()) - notebook.kept()
        for sha256 in sorted(new):
            notebook.keep(sha256, other.recording(sha256) or b"")
    otherwise = sum(known[one.id] != one for one in attempts if one.id in known)
    return Joined(file, len(attempts), len(fresh), len(new), otherwise)


def _found_from(into: Path, file: Path, details: Details) -> Details:
    """The same, with the path of a design, if it is one, told from another notebook's folder."""
    slot = text(details.bench, "slot")
    return (
        replace(details, bench={**details.bench, "slot": retold(slot, file.parent, into.parent)})
        if slot
        else details
    )


def retold(path: str, base: Path, folder: Path) -> str:
    """A path that was told from the folder `base` as found from another; names, and what is not there, as they are."""
    there = base / path
    if (Path(path).parent == Path() and not Path(path).suffix) or not is_there(there):
        return path
    try:
        return os.path.relpath(there, folder)
    except ValueError:  # on another drive
        return str(there.absolute())
