"""Joins notebooks: tries are told apart by their ids, so joining twice adds nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

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
    held, chips = notebook.kept(), notebook.chips()
    with reading(file) as other:
        attempts = other.attempts()
        fresh = [attempt for attempt in attempts if attempt.id not in known]
        theirs, kept = other.chips(), other.kept()
        taken = set[str]()
        details = other.details(attempt.id for attempt in fresh)
        for attempt in fresh:
            wanted = attempt.recording if attempt.recording in kept - held - taken else None
            chip = theirs.get(attempt.board) if attempt.board not in chips else None
            notebook.add(attempt, details[attempt.id], other.recording(wanted) if wanted else None, chip)
            taken |= {wanted} if wanted else set()
            chips |= {attempt.board: chip} if chip else {}
        # A recording that only the other kept, of a try that both know.
        for attempt in attempts:
            if attempt.recording in kept - held - taken and (
                data := other.recording(attempt.recording or "")
            ):
                notebook.keep(attempt.recording or "", data)
                taken.add(attempt.recording or "")
    otherwise = sum(known[one.id] != one for one in attempts if one.id in known)
    return Joined(file, len(attempts), len(fresh), len(taken), otherwise)
