"""What a command that answers about a slot writes into a notebook."""

from __future__ import annotations

import hashlib
from pathlib import Path

from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from ..boards.profile import Board
from .attempt import LONGEST_NAME, LONGEST_NOTE, Attempt, ChipRoster, Details
from .joining import retold
from .notebook import begun, writing


@frozen
class Entry:
    """Into which notebook a command writes, and what a person adds: a name, a note, and whether the recording itself
    is to be kept."""

    path: Path
    who: str = ""
    note: str = ""
    keep: bool = False

    def ready(self, output: Path | None = None) -> None:
        """Refuse, before long work, what could not be written, and a file to be written that is the notebook itself."""
        if output is not None and output.resolve() == self.path.resolve():
            raise UsageError("this is the notebook itself", place=str(output), remedy="name another file")
        for name, text, most in (("--who", self.who, LONGEST_NAME), ("--note", self.note, LONGEST_NOTE)):
            if len(text) > most:
                raise UsageError(f"{name} has {len(text)} characters", remedy=f"say it in {most}")
        begun(self.path)

    def chip(self, board: Board, asked: str) -> ChipRoster:
        """The board as the notebook has it, so that it can be read without the profile."""
        return ChipRoster(
            board.name, self.beside(asked) if board.path else asked, board.slot_count, board.slots
        )

    def beside(self, asked: str) -> str:
        """A path as it is found from the notebook's folder; a name as it is."""
        return retold(asked, Path(), self.path.parent)


@frozen
class RecordedFile:
    """A recorded file: its name and its bytes."""

    name: str
    data: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


def write(
    entry: Entry, chip: ChipRoster, attempt: Attempt, details: Details, recording: RecordedFile | None = None
) -> None:
    """Write a try; once this returns it is on the disk."""
    with writing(entry.path) as notebook:
        notebook.add(attempt, details, recording.data if recording and entry.keep else None, chip)


def program() -> str:
    """Which Forelight this is."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("forelight")
    except PackageNotFoundError:
        return "unknown"
