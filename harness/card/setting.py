"""What to set before anything is done: the selector, the step rate, and each switch with its level and contact."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Action, Set, Strap

from ..boards.divider import setting
from ..boards.profile import Board
from ..view.words import apart, hertz
from .leaf import Block, Sentences, Switches, SwitchPlace


def settings(board: Board, sheet: Datasheet, slot: int | None, before: Sequence[Action]) -> tuple[Block, ...]:
    """`before` are the actions that bring the slot up."""
    code = next((action.code for action in before if isinstance(action, Strap)), None)
    return (
        Sentences((" ".join(_sentences(board, sheet, slot, code)),)),
        Switches(tuple(_switches(board, sheet, before, code))),
    )


def _sentences(board: Board, sheet: Datasheet, slot: int | None, code: int | None) -> Iterator[str]:
    if slot is None:
        yield f"No slot of {board.name} holds this design: try it in a slot of your own."
    else:
        yield f"Selector: slot {slot}."
    if sheet.step is None:
        yield "No step clock: plain logic."
    elif code is None:
        yield "Step clock off at first."
    else:
        found = setting(board, code)
        wanted = sheet.step.wanted_hz
        off = ""
        if wanted:
            percent = float(found.hz) / wanted * 100 - 100
            off = f", {apart(percent)} the wish of {hertz(wanted)}" if percent else ", as its author wishes"
        word = "Strap code" if board.strapped else "Setting of the step source"
        yield f"{word} {code}: {hertz(found.hz)}{off}."


def _switches(
    board: Board, sheet: Datasheet, before: Sequence[Action], code: int | None
) -> Iterator[SwitchPlace]:
    levels: dict[str, int] = {}
    for action in before:
        if isinstance(action, Set):
            levels |= action.levels
    roles = {
        role.line: name for name, role in (("step line", sheet.step), ("restart", sheet.restart)) if role
    }
    own = {
        name
        for name, line in (("step line", board.step_line), ("restart", board.restart_line))
        if line == "own"
    }
    for line in reversed(INPUT_LINES):
        said, role = sheet.lines.get(line), roles.get(line)
        means = said.means if said else role or "not used"
        if role in own:
            means = f"not used: the board's own line is the {role}"
        strapped = None if code is None or not board.strapped else code >> INPUT_LINES.index(line) & 1
        yield SwitchPlace(
            line, board.pins.get(line, ""), strapped, levels.get(line, 0), board.pulls.get(line), means
        )
