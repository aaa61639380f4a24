"""Runs a contribution as the bench would: does each procedure run, does the restart settle it, does it flash?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from forelight.designs.datasheet import DATASHEET_FILE, OUTPUT_LINES, Datasheet, Run
from forelight.designs.procedures.procedure import Procedure, Restart, parse
from forelight.sim.errors import DatasheetError, ForelightError
from forelight.sim.frozen import frozen

from ..bench.course import Seat
from ..bench.predict import predict
from ..bench.restarting import Restarting
from ..bench.settling import Settling, restart_tick, settling
from ..boards.profile import Board
from ..capture.play import played
from ..golden.golden import Golden, Race
from ..hand.routine import default_procedure, run_procedure
from ..view.flashing import flashing
from ..view.warned import free_running
from .expectations import broken
from .finding import Finding

#: Steps of the look at the restart.
STEPS = 1000
#: Races of each kind that are named for a run.
MOST_RACES = 3


@frozen
class Examined:
    """The usual procedure with `STEPS` steps, and how far its outputs settle."""

    golden: Golden
    settling: Settling


@frozen
class Carried:
    """A run of the datasheet, carried out: its first `up` actions bring the slot up."""

    procedure: Procedure
    up: int
    golden: Golden


def look(seat: Seat, board: Board, power_ups: int = 256, seed: int = 0) -> Examined:
    """Raises a ForelightError where it cannot be run."""
    datasheet = seat.datasheet
    procedure = default_procedure(board, datasheet, steps=STEPS)
    golden = predict(board, datasheet, procedure, seat=seat, power_ups=power_ups, seed=seed)
    slot = int(golden.facts["slot"])
    return Examined(golden, settling(golden, restart_tick(board, datasheet, procedure, slot)))


def runs(
    seat: Seat, board: Board, power_ups: int = 256, seed: int = 0
) -> tuple[list[Finding], tuple[Carried, ...]]:
    """What the runs of the datasheet show, and those that can be carried out."""
    datasheet = seat.datasheet
    found: list[Finding] = []
    carried: list[Carried] = []
    for run in datasheet.runs:
        try:
            told = run_procedure(board, datasheet, run.name)
            procedure = played(replace(told, folder=datasheet.folder), board, datasheet)
            golden = predict(board, datasheet, procedure, seat=seat, power_ups=power_ups, seed=seed)
        except DatasheetError as error:  # which names the run, its line and the action
            found.append(Finding(run.name, f"{error.what}; {error.remedy}", error.place, must=True))
            continue
        except ForelightError as error:
            said = f'run "{run.name}" cannot be carried out: {error}'
            found.append(Finding(run.name, said, DATASHEET_FILE, must=True))
            continue
        actions = parse(run.do)
        up = len(told.actions) - len(actions) + isinstance(actions[0], Restart)
        carried.append(Carried(procedure, up, golden))
        found += _shown(golden, procedure)
        found += _untrue(seat, board, run, carried[-1], power_ups, seed)
    return found, tuple(carried)


def _untrue(
    seat: Seat,
    board: Board,
    run: Run,
    carried: Carried,
    power_ups: int,
    seed: int,
) -> Iterator[Finding]:
    """What its author says of a run, in a form that can be checked, and what does not come true."""

    def foretell(other: Procedure) -> Golden:
        if other == carried.procedure:
            return carried.golden
        return predict(board, seat.datasheet, other, seat=seat, power_ups=power_ups, seed=seed)

    said = run.expectations
    for key, wrong in broken(board, seat.datasheet, said, carried.procedure, carried.up, foretell):
        yield Finding(run.name, f"{key} does not come true: {wrong}", said.places.get(key, ""), must=True)


def left_out(found: Restarting) -> Iterator[Finding]:
    """Whether the restart leaves registers as they were; it must not, where outputs were seen to depend on them."""
    if found.settles == "everything" and not found.late and not found.raced:
        return
    said = str(found).rstrip(".")
    remedy = "; set every register, or say why not" if found.left_out and not found.left_open else ""
    yield Finding("restart", said + remedy, must=found.settles == "nothing" and bool(found.shown))


def unsettled(datasheet: Datasheet, seen: Examined, restart: Restarting | None) -> Iterator[Finding]:
    """Whether the outputs still depend on the power-up after many steps, where that is not known of the restart."""
    golden, found = seen.golden, seen.settling
    if not found.never or (restart is not None and restart.shown):
        return
    lines = ", ".join(found.never)
    if restart is not None and restart.settles in ("everything", "outputs"):
        why = golden.facts.get("undefined")
        yield Finding(
            "outputs",
            f"outputs that do not settle: {STEPS} steps after the restart {lines} may still show either level"
            + (f": {why}" if why else ""),
            must=True,
        )
    elif datasheet.restart is not None:
        yield Finding(
            "restart",
            f"restart that does not settle: {STEPS} steps after it {lines} still depend on the power-up; "
            "let it set every register",
            must=True,
        )
    elif found.anywhere:
        steps = golden.facts["period_steps"]
        yield Finding(
            "restart",
            f"there is no restart: after power-up it may begin anywhere in a period of {steps} steps",
        )
    else:
        after = f"{STEPS} steps" if datasheet.step is not None else "a second"
        yield Finding(
            "restart", f"there is no restart, and after {after} {lines} still depend on the power-up"
        )


def _raced(golden: Golden, procedure: Procedure) -> Iterator[Finding]:
    """The first races, and the first that only the proof suspects."""
    apart = "move inputs while the step clock is off, or before the restart is let go"
    clean = "keep gates off clocks, restarts and latch enables"
    for race in golden.races[:MOST_RACES]:
        said = f"what {_show(race)} then depends on which is first: {apart}"
        if len(race.lines) == 1:
            said = f"what {_show(race)} then depends on a glitch on its way: {clean}"
        yield Finding(procedure.name, f"{_when(procedure, race)}, and {said}", DATASHEET_FILE)
    for race in golden.suspects[:MOST_RACES]:
        what = f"what {_show(race)} then, though no power-up that was tried showed a difference"
        said = f"which is first may decide {what}: {apart}"
        if len(race.lines) == 1:
            said = f"a glitch on its way may decide {what}: {clean}"
        yield Finding(procedure.name, f"{_when(procedure, race)}, and {said}", DATASHEET_FILE)


def _show(race: Race) -> str:
    return f"{', '.join(race.outputs)} show{'s' if len(race.outputs) == 1 else ''}"


def _when(procedure: Procedure, race: Race) -> str:
    moved = (
        f"{race.lines[0]} moves" if len(race.lines) == 1 else f"{' and '.join(race.lines)} move in one update"
    )
    return f'run "{procedure.name}": {moved} at step {race.step}'


def _unsettled(golden: Golden) -> list[str]:
    """The lines that are unsettled at the end."""
    last = int(golden.settled[-1]) if len(golden.settled) else 0xFF
    return [line for bit, line in enumerate(OUTPUT_LINES) if not last >> bit & 1]


def _shown(golden: Golden, procedure: Procedure) -> Iterator[Finding]:
    """What a run shows that its author may not have meant."""
    high = np.bitwise_or.reduce(golden.outputs & golden.settled)
    low = np.bitwise_or.reduce(~golden.outputs & golden.settled)
    if not high & low:
        yield Finding(procedure.name, f'run "{procedure.name}": no output changes in it', DATASHEET_FILE)
    for said in free_running(golden):
        yield Finding(procedure.name, f'run "{procedure.name}": {said.rstrip(".")}', DATASHEET_FILE)
    yield from _raced(golden, procedure)
    if why := golden.facts.get("undefined"):
        said = f'run "{procedure.name}": the source leaves open what outputs show: {why}'
        yield Finding(procedure.name, said, DATASHEET_FILE)
    vague = _unsettled(golden)
    if vague:
        depend = "depends" if len(vague) == 1 else "depend"
        yield Finding(
            procedure.name,
            f'run "{procedure.name}": at its end {", ".join(vague)} {depend} on the power-up or on a race',
            DATASHEET_FILE,
        )
    flash = flashing(golden)
    if flash.too_much:
        said = f'run "{procedure.name}": {flash}: slow it down, or say so in the description'
        yield Finding(procedure.name, said, DATASHEET_FILE)
