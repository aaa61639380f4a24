"""What is known of a question before its answer: the design, its clock and inputs, what was assumed, what to mind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import Action, Set, to_text
from rich.text import Text

from ..boards.profile import Board
from ..chip.netlist import wrapper_netlist
from ..view.words import hertz
from .question import Question

SWITCHES = range(7, -1, -1)
#: Actions of a run that are named.
MOST_ACTIONS = 12


def facts(asking: Question) -> list[Text | str]:
    """The head of an answer, paragraph by paragraph."""
    sheet, board = asking.sheet, asking.board
    where = f"slot {asking.slot} of {board.name}" if asking.slot is not None else f"tried on {board.name}"
    head = Text(sheet.title, style="bold").append(f", {where}", style="not bold")
    if sheet.creator:
        head.append(f"; from {sheet.creator}", style="not bold")
    out: list[Text | str] = [head]
    if sheet.description:
        out.append(sheet.description)
    out += ["", *_clock(asking), *_inputs(asking)]
    if asking.told:
        out += ["", f"Run: {asking.procedure.name}. {_actions(asking.told)}."]
    if asking.procedure.expect:
        out.append(f"Expected: {asking.procedure.expect}.")
    if sheet.assumed:
        out += ["", "Assumed, as there is no datasheet:", *(f"  {sentence}" for sentence in sheet.assumed)]
    found = warnings(asking)
    if found:
        out += ["", "Warnings from the source:", *(f"  {warning}" for warning in found)]
    return out


def warnings(asking: Question) -> tuple[str, ...]:
    """What the reader of the source found odd."""
    return wrapper_netlist(asking.sheet).warnings


def _clock(asking: Question) -> Iterator[str]:
    sheet, board, code = asking.sheet, asking.board, asking.code
    if sheet.step is None:
        yield "No step clock: plain logic."
    elif code is not None:
        rate, wanted = board.step_hz(code), sheet.step.wanted_hz
        asked = "" if asking.asked_hz in (None, rate) else f", the nearest to {hertz(asking.asked_hz or 0)}"
        author = "" if not wanted else f"; the author wants {'this' if rate == wanted else hertz(wanted)}"
        where = _line(sheet.step.line, board.step_line)
        yield f"Step clock on {where}: {hertz(rate)}, {setting_word(board)} {code}{asked}{author}."
        if board.strapped:
            levels = " ".join(f"i{bit}={code >> bit & 1}" for bit in SWITCHES)
            yield f"Switches while strapping: {levels}"
    else:
        yield f"Step line {_line(sheet.step.line, board.step_line)}: by hand."
    if sheet.restart is not None:
        yield f"Restart on {_line(sheet.restart.line, board.restart_line)}, active {sheet.restart.active}."


def setting_word(board: Board) -> str:
    """What the number is called that sets the step rate of this board."""
    return "strap code" if board.strapped else "setting of the step source"


def _line(designs: str, boards: str | None) -> str:
    """Where a person finds a line: on the board's own, where it has one for this purpose."""
    return "the board's own line" if boards == "own" else designs


def _inputs(asking: Question) -> Iterator[str]:
    """The levels that the slot is brought up with, of the inputs that mean something or are not 0."""
    levels: dict[str, int] = {}
    for action in asking.procedure.actions[: asking.setting_up]:
        if isinstance(action, Set):
            levels |= action.levels
    sheet = asking.sheet
    taken = {said.line for said in (sheet.step, sheet.restart) if said}
    for line in INPUT_LINES:
        level, said = levels.get(line, 0), sheet.lines.get(line)
        if line not in taken and (said or level):
            yield f"Input {line} = {level}" + (f": {said.means}" if said else "")


def _actions(actions: Sequence[Action]) -> str:
    named = [to_text(action) for action in actions[:MOST_ACTIONS]]
    more = len(actions) - len(named)
    if more:
        named.append(f"and {more} more action{'s' if more > 1 else ''}")
    return "; ".join(named)
