"""What is known of a question before its answer: the design, its clock and inputs, what was assumed, what to mind."""

from __future__ import annotations

from collections.abc import Iterator

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedure import Set, to_text
from rich.text import Text

from ..chip.netlist import wrapper_netlist
from .question import Question
from .words import hertz

SWITCHES = range(7, -1, -1)


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
    if asking.procedure.expect:
        out += [
            "",
            f"Run: {asking.procedure.name}. {_actions(asking)}.",
            f"Expected: {asking.procedure.expect}.",
        ]
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
        rate = board.step_hz(code)
        wanted = sheet.step.wanted_hz
        author = "" if not wanted else f"; the author wants {'this' if rate == wanted else hertz(wanted)}"
        yield f"Step clock on {_line(sheet.step.line)}: {hertz(rate)}, strap code {code}{author}."
        if board.strapped:
            levels = " ".join(f"i{bit}={code >> bit & 1}" for bit in SWITCHES)
            yield f"Switches while strapping: {levels}"
    else:
        yield f"Step line {_line(sheet.step.line)}: by hand."
    if sheet.restart is not None:
        yield f"Restart on {_line(sheet.restart.line)}, active {sheet.restart.active}."


def _line(line: str) -> str:
    return "the board's own line" if line == "own" else line


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


def _actions(asking: Question) -> str:
    texts = [to_text(action) for action in asking.procedure.actions[asking.added :]]
    return (
        "; ".join(texts)
        if len(texts) <= 12
        else f"{'; '.join(texts[:12])}; and {len(texts) - 12} more actions"
    )
