"""What each handling would show: the same design on the same bench, wired and handled as a cause has it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import field, replace
from typing import TYPE_CHECKING

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Action, Pulse, Repeat, Steps
from forelight.sim.errors import ForelightError
from forelight.sim.frozen import frozen, mutable
from forelight.sim.levels import UNKNOWN

from ...bench.course import Seat, seated
from ...boards.roster import find
from ...capture.record import RecordedLine, changes_only
from ...golden.golden import Golden
from ...hand.hand import Hand
from ...hand.timeline import Timeline, Track
from ..reference import Foretold, reference
from .lightly import lightly
from .mishap import CLIPPED, Clip, Handling

if TYPE_CHECKING:
    from forelight.sim.lanes.faults import Fault
    from forelight.sim.lanes.variants import Lanes

    from .wakes import Woken

#: Power-ups that must agree on what counts as settled here; the verdict itself asks more of them.
POWER_UPS = 8
#: Predictions that are remembered.
MOST = 64

#: The lines in time, the tick at which the slot is up, and who sits in the slots that are selected.
Planned = tuple[Timeline, int, dict[int, Seat]]


@frozen
class Prospect:
    """What is foretold: the golden, whose steps count from the tick `up` at which the slot is up, and on its axis."""

    golden: Golden
    up: int
    foretold: Foretold


@mutable
class Foreteller:
    """Foretells handlings, and remembers designs, and what was foretold for the same moves of the same lines.

    `step_line` is the line that carries the step clock; of the input lines the `inputs` alone are foretold.
    """

    step_line: str
    power_ups: int = POWER_UPS
    seats: dict[str, Seat] = field(default_factory=dict)
    found: dict[tuple[object, ...], Prospect | None] = field(default_factory=dict)
    lanes: dict[int, Lanes] = field(default_factory=dict)
    awake: dict[tuple[object, ...], Woken | None] = field(default_factory=dict)
    inputs: Collection[str] = INPUT_LINES

    def woken(self, planned: Planned, until: float) -> Woken | None:
        """What the pins show from many power-ups, to the tick `until`; None where they cannot be run side by side."""
        plan, _, seats = planned
        key = (moves(plan), until, *((number, id(seat)) for number, seat in seats.items()))
        if key not in self.awake:
            from .wakes import woken

            self.awake = {key: woken(plan, seats, self.lanes, until)}  # the last one alone: it is large
        return self.awake[key]

    def prospect(self, it: Handling, steps: int | None = None) -> Prospect | None:
        """What the pins do, cut off after so many steps; None where nobody could do this. Clips are not looked at."""
        planned = self.plan(it, steps)
        if planned is None:
            return None
        plan, up, seats = planned
        key = (moves(plan), up, it.wake, it.fault, *((n, id(seat)) for n, seat in seats.items()))
        if key not in self.found:
            if len(self.found) == MOST:
                self.found.pop(next(iter(self.found)))
            self.found[key] = self.told(planned, it.wake, it.fault)
        return self.found[key]

    def told(self, planned: Planned, wake: int | None, fault: Fault | None = None) -> Prospect | None:
        """The same of what was planned, from the power-up number `wake`; it is not remembered."""
        plan, up, seats = planned
        try:
            return self.laid(lightly(plan, seats, self.power_ups, wake, fault), up)
        except ForelightError:
            return None

    def laid(self, told: Golden, up: int) -> Prospect:
        """A golden on its axis of steps, which count from the tick at which the slot is up."""
        row = int(np.searchsorted(told.ticks, up, side="right")) - 1
        told = replace(told, steps=told.steps - told.steps[row])
        return Prospect(told, up, reference(told, self.step_line, inputs=self.inputs, start=up))

    def plan(self, it: Handling, steps: int | None = None) -> Planned | None:
        """The lines in time, the tick at which the slot is up, and who sits in the slots that are selected."""
        then = shortened(it.then, steps) if steps else it.then
        try:
            hand = Hand(it.board, it.sheet, it.slot, it.contacts, it.leads)
            hand.do(it.before)
            up = hand.now
            hand.do(then)
            hand.finish()
            track = Track(hand)
            track.follow()
            plan = track.timeline()
            seats = self._seats(it, plan)
        except ForelightError:
            return None
        return plan, up, seats

    def seat(self, it: Handling) -> Seat:
        """The design that is meant, in its wrapper."""
        name = name_of(it.sheet)
        if name not in self.seats:
            self.seats[name] = seated(it.board, it.sheet)
        return self.seats[name]

    def _seats(self, it: Handling, plan: Timeline) -> dict[int, Seat]:
        found = {}
        for number in sorted(set(plan.slots.tolist())):
            if number == it.home:
                found[number] = self.seat(it)
            elif number in it.board.slots:
                found[number] = self.seat(replace(it, sheet=find(it.board, str(number)).datasheet))
        return found


def name_of(sheet: Datasheet) -> str:
    """The name under which a design is remembered."""
    return f"{sheet.folder}/{sheet.sources[0]}:{sheet.name}"


def moves(plan: Timeline) -> tuple[int, int]:
    """The same for timelines in which the same lines move at the same instants."""
    columns = (plan.frames, plan.lines, plan.turns, plan.slots, plan.pauses)
    return hash(tuple(column.tobytes() for column in columns)), plan.end


def shortened(actions: tuple[Action, ...], steps: int) -> tuple[Action, ...]:
    """The actions up to so many steps; at least the first is kept."""
    found: list[Action] = []
    left = steps
    for action in actions:
        match action:
            case Steps(count) | Pulse(count):
                found.append(replace(action, count=min(count, max(left, 1))))
                left -= count
            case Repeat(count, inner):
                once = max(_steps(inner), 1)
                found.append(Repeat(max(min(count, -(-left // once)), 1), inner))
                left -= count * once
            case _:
                found.append(action)
        if left <= 0:
            break
    return tuple(found)


def _steps(actions: tuple[Action, ...]) -> int:
    total = 0
    for action in actions:
        if isinstance(action, Steps | Pulse):
            total += action.count
        elif isinstance(action, Repeat):
            total += action.count * _steps(action.actions)
    return total


# On the axis of another prediction


def on_axis(it: Foretold, base: Foretold) -> Foretold:
    """The same on an axis on which steps begin where those of `base` do; its own steps where it has some."""
    factor, shift = axis(it, base)
    if (factor, shift) == (1.0, 0.0):
        return it

    def moved(time: float) -> float:
        return time * factor + shift

    lines = {
        name: RecordedLine(np.append(line.times[:1] * factor, line.times[1:] * factor + shift), line.levels)
        for name, line in it.lines.items()
    }
    return replace(
        it, lines=lines, rises=it.rises * factor + shift, unit=it.unit / factor, end=moved(it.end),
        since=moved(it.since), freed=moved(it.freed), onward=moved(it.onward)
    )  # fmt: skip


def axis(it: Foretold, base: Foretold) -> tuple[float, float]:
    """The factor and the shift that bring the time of `it` onto that axis."""
    factor = 1.0 if it.hz is not None else it.unit / base.unit
    ours, theirs = (_phase(one) for one in (it, base))
    return factor, 0.0 if ours is None or theirs is None else (theirs - ours) % 1.0


def _phase(it: Foretold) -> float | None:
    """Where on its axis the steps begin, once the slot is up."""
    after = it.rises[it.rises >= it.since]
    return float(after[0] % 1.0) if len(after) and it.hz is not None else None


# Clips


def clipped(it: Foretold, clips: tuple[Clip, ...]) -> Foretold:
    """What the channels show."""
    if clips == CLIPPED:
        return it
    shown = {
        f"o{channel}": _clip(it.lines, clip) for channel, clip in enumerate(clips) if clip != CLIPPED[channel]
    }
    return replace(it, lines={**it.lines, **shown})


def _clip(lines: Mapping[str, RecordedLine], clip: Clip) -> RecordedLine:
    line = lines[f"o{clip.line}"]
    if clip.level is not None:
        return RecordedLine(line.times[:1], np.array([clip.level], np.uint8))
    if clip.other is not None:
        line = _tied(line, lines[f"o{clip.other}"], clip.wins)
    if clip.inverted:
        line = RecordedLine(
            line.times, np.where(line.levels == UNKNOWN, UNKNOWN, 1 - line.levels).astype(np.uint8)
        )
    if clip.late:
        line = RecordedLine(np.append(line.times[:1], line.times[1:] + clip.late), line.levels)
    return line


def _tied(one: RecordedLine, other: RecordedLine, wins: int) -> RecordedLine:
    times = np.unique(np.concatenate([one.times, other.times]))
    levels = np.stack([one.at(times), other.at(times)])
    won, gap = (levels == wins).any(axis=0), (levels == UNKNOWN).any(axis=0)
    found = np.where(won, wins, np.where(gap, UNKNOWN, 1 - wins))
    return changes_only(times, found.astype(np.uint8))
