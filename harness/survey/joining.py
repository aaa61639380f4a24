"""Joins notebooks: tries are told apart by their ids, so joining twice adds nothing."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from functools import cache, partial
from pathlib import Path

from forelight.designs.catalogue import is_there
from forelight.sim.frozen import frozen

from .answers import text
from .notebook import Notebook, reading, writing


@frozen
class Joined:
    """What came from one notebook: how many tries it holds, how many were new, how many recordings were; and how many
    known tries say something else there, which somebody must have changed."""

    file: Path
    tries: int
    new: int
    recordings: int
    otherwise: int

    def to_json(self) -> dict[str, object]:
        """As plain values."""
        return {
            "file": str(self.file),
            "try_count": self.tries,
            "new": self.new,
            "recordings": self.recordings,
            "otherwise": self.otherwise,
        }


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
    tell = cache(partial(retold, base=file.parent, folder=notebook.path.parent))
    with reading(file) as other:
        attempts = other.attempts()
        fresh = [attempt for attempt in attempts if attempt.id not in known]
        details = other.details(attempt.id for attempt in fresh)
        boards = {name: chip for name, chip in other.chips().items() if name not in chips}
        for attempt in fresh:
            chip = boards.pop(attempt.board, None)
            if chip is not None:
                chip = replace(chip, asked=tell(chip.asked))
            told = details[attempt.id]
            bench = {**told.bench, "slot": tell(text(told.bench, "slot"))}  # perhaps the path of a design
            notebook.add(attempt, replace(told, bench=bench), None, chip)
        # Also what only the other kept of a try that both know.
        wanted = {attempt.recording for attempt in attempts if attempt.recording}
        new = (wanted & other.kept()) - notebook.kept()
        for sha256 in sorted(new):
            notebook.keep(sha256, other.recording(sha256) or b"")
    otherwise = sum(known[one.id] != one for one in attempts if one.id in known)
    return Joined(file, len(attempts), len(fresh), len(new), otherwise)


def retold(path: str, base: Path, folder: Path) -> str:
    """A path that was told from the folder `base` as found from another; names, and what is not there, as they are."""
    there = base / path
    if (Path(path).parent == Path() and not Path(path).suffix) or not is_there(there):
        return path
    try:
        return os.path.relpath(there, folder)
    except ValueError:  # on another drive
        return str(there.absolute())
