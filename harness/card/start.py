"""The procedure as numbered sentences in the order of the hand, each with a box to tick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from string import ascii_lowercase

from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.instruction import Wording, instruction
from forelight.designs.procedures.procedure import Action, Disable, Enable, Repeat, Strap

from ..boards.profile import Board
from .leaf import Task, Tasks


def tasks(board: Board, sheet: Datasheet, actions: Sequence[Action]) -> Tasks:
    """The sentences of these actions, with the labels of the board and the times that the step rate gives."""
    words = Wording(
        sheet,
        board.buttons,
        strapped=board.strapped,
        pins=board.pins,
        pulls=board.pulls,
        own=frozenset(
            role
            for role, line in (("step", board.step_line), ("restart", board.restart_line))
            if line == "own"
        ),
        frame_hz=float(board.frame_hz),
    )
    return Tasks(tuple(_numbered(board, words, actions, "")[0]))


def _numbered(
    board: Board, words: Wording, actions: Sequence[Action], above: str
) -> tuple[list[Task], Wording]:
    """The sentences, and the wording after them: a strap code changes the step rate that later ones name."""
    found = []
    for place, action in enumerate(actions, 1):
        number = f"{above}{place if not above or above[-1].isalpha() else _letters(place)}"
        match action:
            case Repeat(count, inner):
                below, words = _numbered(board, words, inner, number)
                again = "once" if count == 1 else f"{count} times"
                found.append(Task(number, f"Do this {again}:", tuple(below)))
                continue
            case Strap(code):
                words = replace(words, step_hz=float(board.step_hz(code)))
            case Enable() | Disable():
                words = replace(words, step_hz=None)
            case _:
                pass
        found.append(Task(number, instruction(action, words)))
    return found, words


def _letters(place: int) -> str:
    """a to z, then aa and so on."""
    place -= 1
    head = _letters(place // 26) if place >= 26 else ""
    return head + ascii_lowercase[place % 26]
