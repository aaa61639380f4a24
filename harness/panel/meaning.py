"""What a word comes to at this bench: recordings, and roles of another design that is selected, as plain actions.

`restart`, `steps` and `pulse` are of the design that a list of actions is for. Said while another one is selected
they are meant for that, and become moves of the switches, so that a saved list does the same in every command.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import (
    Action,
    Frames,
    Play,
    Procedure,
    Pulse,
    Repeat,
    Restart,
    Set,
    Steps,
    to_text,
)
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from ..bench.live import LiveBench
from ..capture.play import played
from ..chip.routing import divided_line, restart_input, routing, step_input

#: Moves of one recording: each is an action of the list, which is written to disk after every action.
MOST_PLAYED = 10_000


@frozen
class Composed(Repeat):
    """Several actions, done once, that stand for the one that was `said`."""

    said: Action


def said_as(action: Action) -> str:
    """An action as the person said it."""
    return to_text(action.said if isinstance(action, Composed) else action)


def spelled_out(actions: tuple[Action, ...]) -> tuple[Action, ...]:
    """The actions with those that were composed written one by one, as every command reads them."""
    found: list[Action] = []
    for action in actions:
        found += action.actions if isinstance(action, Composed) else (action,)
    return tuple(found)


def meant(action: Action, bench: LiveBench, folder: Path = Path()) -> Action:
    """What to do on a bench as it stands when this is said; recordings lie in `folder`.

    Raises a ForelightError for a recording that cannot be played, and for what the selected design has no line for.
    """
    if isinstance(action, Play):
        return _played(action, bench, folder)
    if bench.standing.slot == bench.slot:
        return action
    match action:
        case Repeat(_, inner):
            return replace(action, actions=tuple(meant(one, bench, folder) for one in inner))
        case Restart() | Pulse() | Steps():
            return _elsewhere(action, bench)
        case _:
            return action


def _played(action: Play, bench: LiveBench, folder: Path) -> Action:
    path = folder / action.file
    one = Procedure("played", (Play(path.name),), folder=path.parent)
    whole = played(one, bench.board, bench.datasheet, bench.slot, before=bench.actions)
    if len(whole.actions) > MOST_PLAYED:
        raise UsageError(
            f'"{to_text(action)}": {len(whole.actions)} moves and waits are too many to be done by hand',
            remedy=f"at most {MOST_PLAYED} are; forelight show --play does more",
        )
    return Composed(1, whole.actions, Play(str(path)))


def _elsewhere(action: Restart | Pulse | Steps, bench: LiveBench) -> Action:
    """A word that leans on a step or restart line, for another design than that which the list is for."""
    sheet = bench.selected
    if sheet is None:
        raise UsageError(
            f'"{to_text(action)}": slot {bench.standing.slot} is empty', remedy="select another slot before"
        )
    roles = {Restart: ("restart", sheet.restart), Pulse: ("step", sheet.step), Steps: ("step", sheet.step)}
    role, has = roles[type(action)]
    if has is None:
        raise UsageError(
            f'"{to_text(action)}": {sheet.name}, which is selected, has no {role} line',
            remedy="use frames or wait" if role == "step" else "set lines, or select another slot before",
        )
    if isinstance(action, Restart):
        return _restart(action, bench, sheet)
    line, divided = _step_line(bench, sheet), divided_line(bench.board)
    if isinstance(action, Pulse):
        return Composed(1, tuple(_pulses(action, bench, sheet)), action)
    if line != divided:
        raise UsageError(
            f'"{to_text(action)}": the step clock does not reach the step line of {sheet.name}',
            remedy="make steps by hand with pulse",
        )
    return action


def _restart(action: Restart, bench: LiveBench, sheet: Datasheet) -> Action:
    board, index, role, home = bench.board, restart_input(sheet), sheet.restart, bench.datasheet
    assert index is not None and role is not None
    line = routing(board, sheet)[index]
    if line >= len(INPUT_LINES):
        if home.restart is not None and home.restart.active == role.active:
            return action
        raise _only_at_home(action, bench, sheet)
    name, active = INPUT_LINES[line], int(role.active == "high")
    active ^= name in bench.situation.held  # a button that is held turns its line over
    return Composed(
        1, (Set({name: active}), *_passing(action.length, bench, sheet), Set({name: 1 - active})), action
    )


def one_step(bench: LiveBench) -> Action:
    """A step of the selected design: of the step clock where that makes its steps, else by hand."""
    sheet, stands = bench.selected, bench.standing
    if sheet is None or not (stands.enable and stands.running):
        return Pulse(1)
    return Steps(1) if _step_line(bench, sheet) == divided_line(bench.board) else Pulse(1)


def _passing(steps: int, bench: LiveBench, sheet: Datasheet) -> list[Action]:
    """So many steps of the selected design: of the clock, or by hand; frames where there is nothing to step."""
    if sheet.step is None:
        return [Frames(steps)]
    stands = bench.standing
    if stands.enable and stands.running and _step_line(bench, sheet) == divided_line(bench.board):
        return [Steps(steps)]
    # As fast as a hand may be thought to be: so does every restart.
    return [Frames(1), *_pulses(Pulse(steps, float(bench.board.frame_hz / 2)), bench, sheet)]


def _pulses(action: Pulse, bench: LiveBench, sheet: Datasheet) -> list[Action]:
    line = _step_line(bench, sheet)
    if line == _step_line(bench, bench.datasheet):
        return [action]
    if line >= len(INPUT_LINES):
        raise _only_at_home(action, bench, sheet)
    name = INPUT_LINES[line]
    level = bench.situation.switches[name]
    rest = round(bench.board.frame_hz / (2 * Fraction(action.hz))) - 1
    still = (Frames(rest),) if rest > 0 else ()
    return [Repeat(action.count, (Set({name: 1 - level}), *still, Set({name: level}), *still))]


def _step_line(bench: LiveBench, sheet: Datasheet) -> int:
    index = step_input(sheet)
    return divided_line(bench.board) if index is None else routing(bench.board, sheet)[index]


def _only_at_home(action: Action, bench: LiveBench, sheet: Datasheet) -> UsageError:
    return UsageError(
        f'"{to_text(action)}": the board works its own lines as {bench.datasheet.name} wants, and '
        f"{sheet.name} is selected",
        remedy=f"open forelight panel {sheet.name} --board {bench.board.name}",
    )
