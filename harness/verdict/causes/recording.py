"""Recordings of something else: another run, slot, power-up or time base, other inputs, a channel that lags."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.actions import HAND_HZ
from forelight.designs.procedures.check import clocked_at_start
from forelight.designs.procedures.procedure import Action, Frames, Restart, Seconds, Set, Steps, of_run
from forelight.sim.errors import ForelightError

from ...boards.profile import Board
from ...boards.roster import find
from ...capture.record import Capture, RecordedLine
from ...hand.routine import bring_up, default_procedure, divides, strap_code
from .mishap import Clip, Handling, Mishap
from .wiring import clips

#: Factors by which a time base is easily misread: a unit, a switch of 1, 2 and 5, a decade.
FACTORS = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 1000.0)
#: Of a line's time, so much may be spikes.
SPIKES = 0.05
LATE = 3  # steps by which a channel may lag at most
#: What else is foretold is so much longer than the recording, and lasts so many steps at most, at least, and by hand.
LONGER, MOST, FEWEST, BY_HAND = 1.5, 200_000, 200, 50


def causes(it: Handling, capture: Capture) -> Iterator[Mishap]:
    """All recordings of something else."""
    for n in range(8):
        if f"o{n}" in capture.lines and capture.unit != "steps":
            for late in range(1, LATE + 1):
                yield Mishap(
                    "channel late",
                    f"o{n} late by {late}",
                    f"The channel of o{n} lags behind the others by {late} step{'s' * (late > 1)}.",
                    f"Look for a filter or a delay in the channel of o{n}, and take it out.",
                    clips({n: Clip(n, late=late)}),
                )
    if capture.unit == "seconds":
        for factor in (*FACTORS, *(1 / f for f in FACTORS)):
            yield Mishap(
                "wrong time base",
                f"time base off by {factor:g}",
                f"The recording's time base is off: it counts {factor:g} s for each second that passes.",
                "Look at the instrument's time base, and at the unit in the file's heading.",
                lambda it, factor=factor: replace(it, pace=factor),  # type: ignore[misc]
            )
    yield from _runs(it, capture)
    yield from _played(it, capture)


def power_up(wake: int) -> Mishap:
    """The design woke up in the state of this number."""
    return Mishap(
        "another power-up",
        "another power-up",
        "The design woke up in a state that the restart does not clear.",
        "Give the restart again, or for longer; if there is none, compare only what is settled.",
        lambda it: replace(it, wake=wake),
    )


def _runs(it: Handling, capture: Capture) -> Iterator[Mishap]:
    """The runs of the datasheet, and the usual one."""
    found: list[tuple[str, tuple[Action, ...], tuple[Action, ...]]] = []
    try:
        usual = _usual_run(it.board, it.sheet, it.slot, capture)
        found.append(_parted("the usual run", usual))
        for run in it.sheet.runs:
            actions = of_run(it.sheet, run.name).actions
            before = bring_up(it.board, it.sheet, slot=it.slot, clocked=clocked_at_start(actions))
            found.append(_parted(run.name, (*before, *actions)))
    except ForelightError:
        pass
    for name, before, then in found:
        if then and (before != it.before or _moves(then) != _moves(it.then)):
            told = "" if name == "the usual run" else f' --run "{name}"'
            yield Mishap(
                "another run",
                f"run {name}",
                f"This is a recording of {name if not told else f'the run {chr(34)}{name}{chr(34)}'}.",
                f"Check it with `forelight check{told}`, or carry out the run that was meant.",
                lambda it, before=before, then=then: replace(it, before=before, then=then),  # type: ignore[misc]
            )


def _usual_run(board: Board, sheet: Datasheet, slot: int, capture: Capture) -> tuple[Action, ...]:
    """Brought up as its datasheet says, and left to run for longer than was recorded."""
    long, least = LONGER * (capture.end - capture.start), FEWEST
    hz = 1.0
    if not divides(board, sheet):
        hz, least = HAND_HZ, BY_HAND
    elif capture.unit == "seconds":
        hz = float(board.step_hz(strap_code(board, sheet)))
    steps = min(max(math.ceil(long * hz), least), MOST)
    return default_procedure(board, sheet, slot=slot, steps=steps).actions


def _moves(actions: tuple[Action, ...]) -> list[Action]:
    """The actions other than waits for steps."""
    return [action for action in actions if not isinstance(action, Steps | Frames)]


def _parted(name: str, actions: tuple[Action, ...]) -> tuple[str, tuple[Action, ...], tuple[Action, ...]]:
    """The actions up to the first restart, and those behind it."""
    at = next((n for n, action in enumerate(actions, 1) if isinstance(action, Restart)), None)
    if at is None:
        at = next((n for n, a in enumerate(actions) if isinstance(a, Steps | Seconds)), len(actions))
    return name, actions[:at], actions[at:]


def _played(it: Handling, capture: Capture) -> Iterator[Mishap]:
    """Inputs that the recording holds and that stand otherwise than was meant, all the time."""
    meant: dict[str, int] = {}
    for action in it.before:
        if isinstance(action, Set):
            meant.update(action.levels)
    special = {said.line for said in (it.sheet.step, it.sheet.restart) if said is not None}
    other = {}
    for line, found in capture.lines.items():
        level = _usual(found, capture.end)
        if line[0] == "i" and line not in special and level not in (None, meant.get(line, 0)):
            other[line] = level
    if other:
        said = ", ".join(f"{line} at {level}" for line, level in sorted(other.items()))
        options = " ".join(f"--set {line}={level}" for line, level in sorted(other.items()))
        yield Mishap(
            "other inputs recorded",
            "inputs as recorded",
            f"The recording itself holds other inputs: {said}.",
            f"Check it with {options} or with --play of the recording, or set the inputs as was meant.",
            lambda it: replace(it, before=tuple(_set(action, other) for action in it.before)),
        )


def _usual(line: RecordedLine, end: float) -> int | None:
    """The level that a line has all the time but for spikes; None where it has none."""
    lasting = np.diff(np.append(line.times, end))
    whole = float(lasting.sum())
    for level in (0, 1):
        if whole > 0 and lasting[line.levels == level].sum() > (1 - SPIKES) * whole:
            return level
    return None


def _set(action: Action, levels: dict[str, int]) -> Action:
    if isinstance(action, Set):
        return Set({line: levels.get(line, level) for line, level in action.levels.items()})
    return action


def other_slots(it: Handling, capture: Capture) -> Iterator[Mishap]:
    """Each other design of the board, brought up as its own datasheet says."""
    for slot in sorted(it.board.slots):
        if slot == it.slot:
            continue
        try:
            sheet = find(it.board, str(slot)).datasheet
            _, before, then = _parted("", _usual_run(it.board, sheet, slot, capture))
        except ForelightError:
            continue
        yield Mishap(
            "another slot",
            f"slot {slot} as such",
            f"This looks like slot {slot}, {sheet.title}, brought up as its datasheet says.",
            f"Select slot {it.slot}; or check the recording with `forelight check {slot}`.",
            lambda it, sheet=sheet, slot=slot, before=before, then=then: replace(  # type: ignore[misc]
                it, sheet=sheet, slot=slot, home=slot, before=before, then=then
            ),
        )
