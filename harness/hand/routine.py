"""The usual procedures: bring a slot up, restart, run; and a datasheet's own runs, brought up first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.actions import HAND_HZ
from forelight.designs.procedures.check import check, clocked_at_start
from forelight.designs.procedures.procedure import (
    Action,
    Drive,
    Enable,
    Frames,
    Procedure,
    Pulse,
    Repeat,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
    of_run,
)
from forelight.designs.procedures.text import Where
from forelight.designs.sheets.attachments import driven_lines, heard_lines

from ..boards.divider import codes_for
from ..boards.profile import Board
from ..chip.routing import divided_line, routing, step_input

#: Step rate where neither the author nor the user names one: slow enough to follow by eye (common practice, no source).
USUAL_HZ = 10.0


def bring_up(
    board: Board,
    datasheet: Datasheet,
    *,
    slot: int | None = None,
    code: int | None = None,
    hz: float | None = None,
    levels: Mapping[str, int] | None = None,
    clocked: bool = True,
) -> tuple[Action, ...]:
    """Select the slot (where it is known), set all inputs to their idle levels but for `levels`, and strap.

    Lines that something outside drives have their switches open; a sender rests at 1, as 8N1 does (NXP AN10386).
    The strap code is `code`, else the one whose rate is nearest to `hz`, else to what the author wants; of several
    with the same rate the smallest. Not strapped where `clocked` is false, for plain logic, and for a design
    whose step line is not the one that the board's divider drives.
    """
    idle = {line: datasheet.idle >> bit & 1 for bit, line in enumerate(INPUT_LINES)}
    idle |= _open(board, datasheet)
    actions: list[Action] = [] if slot is None else [Select(slot)]
    actions.append(Set(idle | dict(levels or {})))
    if clocked and divides(board, datasheet):
        actions.append(Strap(strap_code(board, datasheet, code=code, hz=hz)))
    sent = {line: 1 for line in heard_lines(datasheet) if line not in (levels or {})}
    if sent:
        actions.append(Drive(sent))
    return tuple(actions)


def _open(board: Board, datasheet: Datasheet) -> dict[str, int]:
    """The levels of lines that something outside drives: their switches are open."""
    return {line: board.pulls.get(line, 0) for line in (*driven_lines(datasheet), *heard_lines(datasheet))}


def default_procedure(
    board: Board,
    datasheet: Datasheet,
    code: int | None = None,
    hz: float | None = None,
    levels: Mapping[str, int] | None = None,
    steps: int = 100,
    *,
    slot: int | None = None,
) -> Procedure:
    """Bring the slot up, restart it, and let it run for so many steps, the last of them to its end.

    Steps are made by hand, at a hand's pace or at `hz`, where the board's divider does not reach the design; plain
    logic is looked at for a second.
    """
    actions = [*bring_up(board, datasheet, slot=slot, code=code, hz=hz, levels=levels)]
    if datasheet.restart is not None:
        actions.append(Restart())
    if divides(board, datasheet):
        half = board.half(strap_code(board, datasheet, code=code, hz=hz))
        # The run ends just before the next rise; on a chain it goes on for one more frame by itself.
        rest = 2 * half - (2 if board.link == "chain" else 1)
        actions += [Steps(steps), *([Frames(rest)] if rest else [])]
    elif datasheet.step is not None:
        actions.append(Pulse(steps, hz or HAND_HZ))
    else:
        actions.append(Seconds(1.0))
    return Procedure("default", tuple(actions))


def run_procedure(
    board: Board,
    datasheet: Datasheet,
    name: str,
    *,
    slot: int | None = None,
    code: int | None = None,
    hz: float | None = None,
    levels: Mapping[str, int] | None = None,
) -> Procedure:
    """A run of the datasheet with the slot brought up before it; strapped unless the run sees to that itself.

    Raises DatasheetError, with line and action, where it cannot be carried out on this board.
    """
    run = of_run(datasheet, name)
    check_on(board, datasheet, run.actions, run.places, slot=slot, levels=levels)
    clocked = clocked_at_start(run.actions)
    before = bring_up(board, datasheet, slot=slot, code=code, hz=hz, levels=levels, clocked=clocked)
    return Procedure(run.name, (*before, *run.actions), run.expect)


def check_on(
    board: Board,
    datasheet: Datasheet,
    actions: Sequence[Action],
    where: Where,
    *,
    slot: int | None,
    levels: Mapping[str, int] | None = None,
) -> None:
    """Raise DatasheetError where an action cannot be done on this design and this board."""
    check(
        actions,
        datasheet,
        where,
        slot=slot,
        slot_count=board.slot_count,
        codes=board.codes,
        buttons=board.buttons,
        pulls=board.pulls,
        levels=_open(board, datasheet) | dict(levels or {}),
        chained=board.link == "chain",
    )


def made_by_hand(actions: Iterable[Action]) -> bool:
    """Whether a hand makes all steps, at a pace of its own."""
    every = list(one_by_one(actions))
    clocked = any(isinstance(action, Strap | Enable) for action in every)
    return not clocked and any(isinstance(action, Pulse) for action in every)


def one_by_one(actions: Iterable[Action]) -> Iterator[Action]:
    """The actions, those inside repeats once."""
    for action in actions:
        yield from one_by_one(action.actions) if isinstance(action, Repeat) else (action,)


def divides(board: Board, datasheet: Datasheet) -> bool:
    """Whether the board's divider drives the design's step line."""
    step = step_input(datasheet)
    return step is not None and routing(board, datasheet)[step] == divided_line(board)


def strap_code(
    board: Board, datasheet: Datasheet, *, code: int | None = None, hz: float | None = None
) -> int:
    """The code as given, or the smallest of those nearest to `hz`, or to the rate that the author wants."""
    if code is not None:
        return code
    wanted = datasheet.step.wanted_hz if datasheet.step else None
    return codes_for(board, hz or wanted or USUAL_HZ)[0].code
