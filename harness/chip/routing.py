"""Which line of the board reaches which input of a design.

The board's lines are numbered 0 to 7 for the input pins, then its own step line and its own restart line,
where it has them (a direct link). A design has its eight inputs, then an own step and an own restart line
where its datasheet says so. A design that wants its step on an input line works on a board with a step line
of its own too: that line is wired to the input in place of the pin. Restart likewise.
"""

from __future__ import annotations

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.sim.errors import UsageError

from ..boards.profile import Board

OWN_STEP = 8
OWN_RESTART = 9
LINE_COUNT = 10


def divided_line(board: Board) -> int:
    """The number of the line that the divider drives while the step clock is enabled."""
    return OWN_STEP if board.step_line == "own" else INPUT_LINES.index(board.step_line)


def routing(board: Board, datasheet: Datasheet) -> tuple[int, ...]:
    """For each input of the design, lowest first, the number of the board's line that reaches it.

    Raises UsageError for a line that the design needs and the board has not.
    """
    table = list(range(8))
    for role, wanted, line, own in (
        ("step", datasheet.step, board.step_line, OWN_STEP),
        ("restart", datasheet.restart, board.restart_line, OWN_RESTART),
    ):
        if wanted is None:
            continue
        if wanted.line != "own":
            if line == "own":
                table[INPUT_LINES.index(wanted.line)] = own
        elif line == "own":
            table.append(own)
        else:
            raise UsageError(
                f"{datasheet.name} needs a board with a {role} line of its own, which {board.name} has not",
                remedy="choose another board, or another line in the datasheet",
            )
    return tuple(table)


def step_input(datasheet: Datasheet) -> int | None:
    """Which input of the design is its step line: an index into `routing`, None for plain logic."""
    if datasheet.step is None:
        return None
    return 8 if datasheet.step.line == "own" else INPUT_LINES.index(datasheet.step.line)


def restart_input(datasheet: Datasheet) -> int | None:
    """Which input of the design is its restart line: an index into `routing`, None where there is none."""
    if datasheet.restart is None:
        return None
    if datasheet.restart.line != "own":
        return INPUT_LINES.index(datasheet.restart.line)
    return 9 if datasheet.step is not None and datasheet.step.line == "own" else 8


def input_names(datasheet: Datasheet) -> tuple[str, ...]:
    """What the inputs of the design are called, in the order of `routing`."""
    roles = ("step", datasheet.step), ("restart", datasheet.restart)
    return (*INPUT_LINES, *(role for role, wanted in roles if wanted and wanted.line == "own"))
