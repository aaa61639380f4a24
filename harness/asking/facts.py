"""What is known of a question before its answer: the design, its clock and inputs, what was assumed, what to mind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.actions import HAND_HZ
from forelight.designs.procedures.check import clocked_at_start
from forelight.designs.procedures.procedure import Action, Enable, Pulse, Set, Strap, to_text
from forelight.designs.sheets.attachments import driven_lines, heard_lines

from ..boards.divider import setting_word
from ..chip.netlist import fights_in, source_warnings
from ..hand.routine import divides, one_by_one
from ..hand.switches import contact_of, driven_from_outside, moved_otherwise, standing
from ..view.words import hertz
from .question import Question

if TYPE_CHECKING:
    from rich.text import Text

SWITCHES = range(7, -1, -1)
#: A rate that is so many times too fast or too slow is out of reach.
FAR = 2.0
#: Actions of a run that are named.
MOST_ACTIONS = 12


def facts(asking: Question) -> list[Text | str]:
    """The head of an answer, paragraph by paragraph."""
    from rich.text import Text

    sheet, board = asking.sheet, asking.board
    where = f"slot {asking.slot} of {board.name}" if asking.slot is not None else f"tried on {board.name}"
    head = Text(sheet.title, style="bold").append(f", {where}", style="not bold")
    if sheet.creator:
        head.append(f"; from {sheet.creator}", style="not bold")
    out: list[Text | str] = [head, *(f"Mind: {sentence}" for sentence in obstacles(asking))]
    if sheet.description:
        out.append(sheet.description)
    out += ["", *_clock(asking), *_inputs(asking)]
    if asking.told:
        out += ["", f"Run: {asking.procedure.name}. {_actions(asking.told)}."]
    if asking.procedure.expect:
        out.append(f"Expected: {asking.procedure.expect}.")
    if sheet.assumed:
        out += ["", "Assumed, as there is no datasheet:", *(f"  {sentence}" for sentence in sheet.assumed)]
    found = [said for said in warnings(asking) if said not in fights_in(warnings(asking))]
    if found:
        out += ["", "Warnings from the source:", *(f"  {warning}" for warning in found)]
    return out


def obstacles(asking: Question) -> Iterator[str]:
    """What makes the bench go otherwise than one expects, to be said before all else: rates out of reach, no clock."""
    sheet, board, code = asking.sheet, asking.board, asking.code
    if sheet.step is None:
        return
    if not divides(board, sheet):
        where = "a line of its own" if board.step_line == "own" else board.step_line
        yield (
            f"{sheet.name} is stepped on {sheet.step.line}, and the divider of {board.name} drives {where}: every step "
            "is made by hand."
        )
        return
    wish = asking.asked_hz or sheet.step.wanted_hz
    rate = None if code is None else float(board.step_hz(code))
    if wish and rate and not 1 / FAR < rate / wish < FAR:
        whose = "asked for" if asking.asked_hz else "what the author wants"
        yield f"{board.name} comes no nearer to {hertz(wish)}, {whose}, than {hertz(rate)}."
    if asking.told and not clocked_at_start(asking.told):
        begins = next((one for one in asking.told if isinstance(one, (Strap, Enable))), None)
        until = "all the time" if begins is None else f"until '{to_text(begins)}' in the procedure"
        yield f"the step clock stays off {until}."


def warnings(asking: Question) -> tuple[str, ...]:
    """What the reader of the source found odd."""
    return source_warnings(asking.alone.netlist)


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
            yield f"Switches while strapping: {standing(board, {f'i{bit}': code >> bit & 1 for bit in SWITCHES})}."
    else:
        yield f"Step line {_line(sheet.step.line, board.step_line)}: by hand."
    yield from _pace(asking)
    if sheet.restart is not None:
        yield f"Restart on {_line(sheet.restart.line, board.restart_line)}, active {sheet.restart.active}."


def _pace(asking: Question) -> Iterator[str]:
    """How fast the hand makes its steps, and how to say another pace."""
    paces = {action.hz for action in one_by_one(asking.procedure.actions) if isinstance(action, Pulse)}
    if paces:
        said = " or ".join(f"{hz:g}" for hz in sorted(paces))
        usual = ", the pace of a hand" if paces == {HAND_HZ} else ""
        another = '"pulse 3 at 5 Hz"' if asking.told else "--hz 5"
        yield f"Steps by hand: {said} in a second{usual}; {another} sets another."


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
        if line not in (*taken, *driven_lines(sheet), *heard_lines(sheet)) and (said or level):
            word = contact_of(asking.board, line, level)
            stands = f" (switch {word})" if word else ""
            yield f"Input {line} = {level}{stands}" + (f": {said.means}" if said else "")
    yield from contention(asking)


def contention(asking: Question) -> Iterator[str]:
    """What a switch is not to be closed on, and what becomes of levels that were asked for on lines moved otherwise."""
    clocked = any(isinstance(action, (Strap, Enable)) for action in asking.procedure.actions)
    yield from driven_from_outside(asking.sheet)
    yield from moved_otherwise(asking.board, asking.sheet, asking.asked_levels, clocked)


def runs(asking: Question) -> list[str]:
    """The runs of the datasheet that were not asked for, each with what its author expects."""
    others = [run for run in asking.sheet.runs if run.name != asking.procedure.name]
    if not others:
        return []
    also = "Other runs" if asking.told else "Runs"
    said = (f'  "{run.name}"' + (f": {run.expect}" if run.expect else "") for run in others)
    return [f"{also} of the datasheet, to be had with --run:", *said]


def _actions(actions: Sequence[Action]) -> str:
    named = [to_text(action) for action in actions[:MOST_ACTIONS]]
    more = len(actions) - len(named)
    if more:
        named.append(f"and {more} more action{'s' if more > 1 else ''}")
    return "; ".join(named)
