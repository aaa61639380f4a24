"""Which board a notebook is about, and where its profile lies."""

from __future__ import annotations

from pathlib import Path

from forelight.sim.errors import UsageError

from ...boards.profile import Board
from ...boards.reader import board_names, load_board
from ...survey.attempt import ChipRoster
from ...survey.notebook import Notebook


def board_of(notebook: Notebook, named: str | None) -> Board:
    """The board that is named, or the only one that the notebook is about."""
    if named is not None:
        return load_board(named)
    chips = notebook.chips()
    if not chips:
        return load_board("quay")
    if len(chips) > 1:
        raise UsageError(
            f"the notebook is about {len(chips)} boards: {', '.join(chips)}",
            place=str(notebook.path),
            remedy="name one with --board",
        )
    return board_at(notebook.path, next(iter(chips.values())))


def board_at(path: Path, chip: ChipRoster) -> Board:
    """The profile of a chip; where it is a file, its place is told from the notebook's."""
    return load_board(chip.asked if chip.asked in board_names() else path.parent / chip.asked)
