"""How a switch stands for a level, and what a switch is not free to say: lines that something else moves or drives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.contention import CAUTION, contact_word
from forelight.designs.sheets.attachments import driven_lines, heard_lines

from ..boards.profile import Board
from ..chip.routing import divided_line, restart_input, routing


def contact_of(board: Board, line: str, level: int) -> str:
    """Whether the switch of a line is open or closed when it stands at a level; empty where the board does not say."""
    return contact_word(board.pulls.get(line), level)


def standing(board: Board, levels: Mapping[str, int]) -> str:
    """How these switches stand: those alike together, with the level and open or closed."""
    groups: dict[tuple[int, str], list[str]] = {}
    for line, level in levels.items():
        groups.setdefault((level, contact_of(board, line, level)), []).append(line)
    return "; ".join(
        f"{', '.join(lines)} at {level}{f' ({word})' if word else ''}"
        for (level, word), lines in groups.items()
    )


def driven_from_outside(sheet: Datasheet) -> Iterator[str]:
    """A sentence with the caution for each input that an attachment drives, or that one hears another send on."""
    for line in driven_lines(sheet):
        yield f"What is wired to {line} drives it: leave its switch open, as {CAUTION}."
    for line in heard_lines(sheet):
        yield f"Where a sender is wired to {line}, leave its switch open, as {CAUTION}."


def moved_otherwise(
    board: Board, sheet: Datasheet, levels: Mapping[str, int], clocked: bool
) -> Iterator[str]:
    """What becomes of levels that somebody asks for on lines which the hand, the clock or a source outside moves.

    `clocked` says whether the step clock is switched on.
    """
    table, index = routing(board, sheet), restart_input(sheet)
    restart = None if index is None else table[index]
    for line, level in levels.items():
        bit = INPUT_LINES.index(line)
        if bit == restart and sheet.restart is not None:
            active = level == int(sheet.restart.active == "high")
            what = "that holds the design in restart" if active else "that is where the restart leaves it"
            yield f"{line} is the restart line: {what} until the restart moves it, which lets go of it in the end."
        if bit == divided_line(board) and clocked:
            until = "reaches the design only while the step clock is off"
            yield f"{line} = {level} {until}; while it is on, the clock drives {line}."
        if line in (*driven_lines(sheet), *heard_lines(sheet)) and level != board.pulls.get(line, 0):
            yield f"{line} = {level} would close a switch on a line that is driven: {CAUTION}."
