"""The bench played by hand: actions one at a time, time as it passes, and back again; the same bench as for a run."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Action, Seconds
from forelight.designs.procedures.refusals import Situation
from forelight.sim.frozen import frozen
from forelight.sim.loops import Oscillation
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from ..boards.profile import Board
from ..boards.roster import find
from ..golden.golden import Golden
from ..hand.hand import Hand
from ..hand.ledger import Ledger
from ..hand.stretch import Stretch
from ..hand.timeline import Lines, Timeline, Track
from .bench import shown_within
from .course import Course, Seat, seated
from .inside import Inside
from .powerups import sampled_power_ups

#: Power-ups that are followed side by side, if nothing is said: enough to tell what is settled, and quick.
POWER_UPS = 64
#: Changes of the lines that are kept; each takes some 60 bytes, so that all take half a gigabyte.
MOST_CHANGES = 1 << 23
#: Updates for which the proof is made ready: it follows what is worth while for a run as long as that.
_LONG = 1 << 26
_NONE: NDArray[np.int64] = np.zeros(0, np.int64)


@frozen
class _Mark:
    """Where everything is at one moment, to come back to."""

    count: int  # of the actions, and the last of them
    last: Action | None
    hand: Any
    track: Any
    courses: dict[int, Any]
    rows: int
    done: int


@frozen
class _Within(Inside):
    """A design that is being played: of all its `updates` the first `before` are not in `rows`."""

    before: int
    updates: Lines
    now: bytes

    def state(self, row: int, power_up: PowerUp = 0) -> bytes:
        sim = self.simulation
        if row == len(self.rows) - 1 and power_up == 0:
            sim.restore(self.now)
            return self.now
        sim.power_cycle(power_up)
        sim.settle()
        if self.before + row >= 0:
            sim.run_samples("inputs", self.updates[: self.before + row + 1], "outputs")
        return sim.snapshot()


class LiveBench:
    """One board with a design in slot `slot` and the board's roster in the others; the selector stands on it at first.

    `actions` is what was done so far, waits included: a procedure, of which `predict` with as many power-ups and the
    same seed foretells what is recorded here, but for the claim that a run repeats itself, which wants its end. Bits
    of `contacts` that are 0 are switches that do not make contact; `seat` is what sits in the slot, if that is not
    what the datasheet names. Raises a ForelightError for a design that cannot be read.
    """

    def __init__(
        self,
        board: Board,
        datasheet: Datasheet,
        *,
        slot: int = 0,
        power_ups: int = POWER_UPS,
        seed: int = 0,
        most: int = MOST_CHANGES,
        contacts: int = 0xFF,
        seat: Seat | None = None,
    ) -> None:
        self.board, self.datasheet, self.slot = board, datasheet, slot
        self.power_ups, self.seed = power_ups, seed
        self.actions: list[Action] = []
        self._seats: dict[int, Seat | None] = {slot: seat or seated(board, datasheet)}
        self._hand = Hand(board, datasheet, slot, contacts)
        self._track = Track(self._hand, most)
        self._courses: dict[int, Course] = {}
        self._columns = tuple(Ledger(kind) for kind in (np.int64, np.int64, *[np.uint8] * 4))
        self._done = 0  # frames of which the record tells
        self._marks: list[_Mark] = []  # before each of `actions`

    # What the hand does

    def do(self, action: Action) -> None:
        """Carry out one action, waiting included.

        Raises a ForelightError for one that cannot be carried out; nothing has changed then.
        """
        mark = self._mark()
        with self._or_back_to(mark):
            self._hand.do([action])
            self._follow()
        self._marks.append(mark)
        self.actions.append(action)

    def wait(self, frames: int) -> None:
        """Let so many frames pass, or as long as they last where a chain stands still.

        That joins a wait that was the last thing done. Raises a ForelightError where something on the way is refused;
        nothing has changed then.
        """
        last = self.actions[-1] if self.actions else None
        if not isinstance(last, Seconds):
            self.do(self._lasting(frames))
            return
        with self._or_back_to(self._mark()):
            self._hand.do([self._lasting(frames)])
            self._follow()
        self.actions[-1] = self._lasting(frames + round(Fraction(str(last.seconds)) * self.board.frame_hz))

    def _lasting(self, frames: int) -> Seconds:
        return Seconds(float(frames / self.board.frame_hz))

    def undo(self) -> Action | None:
        """Take back the last action, and say which it was; None where there is none."""
        if not self.actions:
            return None
        last = self.actions[-1]
        self._restore(self._marks.pop())
        return last

    # What there is to see

    @property
    def situation(self) -> Situation:
        """What stands on switches, buttons and selector."""
        return self._hand.situation()

    @property
    def standing(self) -> Stretch:
        """What the hand holds now, and what it comes to at the pins."""
        return self._hand.standing

    @property
    def frame(self) -> int:
        return self._hand.frame

    @property
    def now(self) -> int:
        """Ticks since the power came on."""
        return self._hand.now

    def inside(self, rows: int | None = None) -> Inside | None:
        """The selected design from within, or only its last so many updates.

        None where there is none, or a loop of it runs free.
        """
        course = self._courses.get(self.standing.slot)
        if course is None or course.loops:
            return None
        plan, count = self._track.timeline(), len(course.frames)
        before = 0 if rows is None else max(0, count - rows)
        frames = course.frames[before:]
        steps = np.searchsorted(course.rises, frames, side="right")
        values, ticks = course.values[before:], plan.ticks(frames)
        return _Within(
            plan, course.seat, values, frames, ticks, steps, 1, before, course.values, course.first
        )

    @property
    def loops(self) -> tuple[Oscillation, ...]:
        """The loops of the selected design that were found to run free."""
        course = self._courses.get(self.standing.slot)
        return course.loops if course else ()

    def seat(self, slot: int) -> Seat | None:
        """The design in a slot, None where that is empty. Raises a ForelightError for one that cannot be read."""
        if slot not in self._seats:
            entry = self.board.slots.get(slot)
            self._seats[slot] = seated(self.board, find(self.board, str(slot)).datasheet) if entry else None
        return self._seats[slot]

    @property
    def selected(self) -> Datasheet | None:
        """The datasheet of the design that is selected, None where the slot is empty."""
        seat = self.seat(self.standing.slot)
        return seat.datasheet if seat else None

    @property
    def turned(self) -> int:
        """The tick at which the selector was turned to where it stands."""
        plan = self._track.timeline()
        return int(plan.start_ticks(plan.turns[-1:])[0]) if len(plan.turns) else 0

    def stepped(self, shown: Golden) -> Golden:
        """A part of the record with the steps that the selected design has made, and not that of `slot`."""
        if self.standing.slot == self.slot or not len(shown.ticks):
            return shown
        course = self._courses.get(self.standing.slot)
        rises = self._track.timeline().ticks(course.rises) if course else _NONE
        sheet = self.selected
        facts = {**shown.facts, "step_line": sheet.step.line if sheet and sheet.step else ""}
        return replace(shown, steps=np.searchsorted(rises, shown.ticks, side="right"), facts=facts)

    def record(self) -> Golden:
        """All that the board's pins showed so far, valid until more is done."""
        ticks, steps, inputs, outputs, proved, sampled = (column.rows for column in self._columns)
        return Golden(
            board=self.board.name,
            oscillator_hz=self.board.oscillator_hz,
            ticks=ticks,
            steps=steps,
            inputs=inputs,
            outputs=outputs,
            proved=proved,
            sampled=sampled,
            end=self.now,
            facts=self._facts(),
        )

    @contextmanager
    def answered(self) -> Iterator[None]:
        """For as long as this lasts, the answer to what was done last has reached the pins."""
        mark = self._mark()
        self._hand.finish()
        self._follow()
        try:
            yield
        finally:
            self._restore(mark)

    def _facts(self) -> dict[str, str | int]:
        facts: dict[str, str | int] = {
            "design": self.datasheet.name,
            "slot": self.slot,
            "start": "fixed",
            "power_ups": self.power_ups,
            "seed": self.seed,
        }
        if self.datasheet.step is not None:
            facts["step_line"] = self.datasheet.step.line
        return facts

    # The bench underneath

    def _follow(self) -> None:
        """Run everything up to where the hand is, and write it down."""
        self._track.follow()
        plan = self._track.timeline()
        for slot in set(plan.slots.tolist()) - set(self._courses):
            seat = self.seat(slot)
            if seat is not None:
                self._courses[slot] = Course(self.board, slot, seat, self._wake, self.seed, _LONG)
        before = self._loops()
        for course in self._courses.values():
            course.reach(plan)
            course.run(plan)
        self._write(plan, anew=self._loops() != before)

    def _loops(self) -> list[Any]:
        return [course.loops for course in self._courses.values()]

    def _wake(self) -> list[Any]:
        return sampled_power_ups(self.power_ups, self.seed)

    def _write(self, plan: Timeline, *, anew: bool) -> None:
        """Add to the record what is not in it yet; `anew` writes all of it."""
        if anew:
            self._done = 0
            for column in self._columns:
                column.cut(0)
        if plan.end == self._done:
            return
        outcomes = {slot: course.outcome() for slot, course in self._courses.items()}
        tables = {slot: course.table for slot, course in self._courses.items()}
        home = self._courses.get(self.slot)
        shown = shown_within(plan, outcomes, tables, home.rises if home else _NONE, self._done)
        ticks = plan.ticks(shown.frames)
        ticks[shown.frames < 0] = 0
        levels: tuple[NDArray[np.uint8], ...] = shown.inputs, shown.outputs, shown.proved, shown.sampled
        before = [column.rows[-1] for column in self._columns[2:]] if len(self._columns[0]) else None
        first = int(
            before is not None and all(one == column[0] for one, column in zip(before, levels, strict=True))
        )
        whole: tuple[NDArray[Any], ...] = (ticks, shown.steps, *levels)
        for column, rows in zip(self._columns, whole, strict=True):
            column.append(rows[first:])
        self._done = plan.end

    def _mark(self) -> _Mark:
        courses = {slot: course.snapshot() for slot, course in self._courses.items()}
        return _Mark(
            len(self.actions),
            self.actions[-1] if self.actions else None,
            self._hand.snapshot(),
            self._track.snapshot(),
            courses,
            len(self._columns[0]),
            self._done,
        )

    def _restore(self, mark: _Mark) -> None:
        del self.actions[mark.count :]
        if mark.last is not None:
            self.actions[-1] = mark.last  # a wait may have grown
        self._hand.restore(mark.hand)
        self._track.restore(mark.track)
        self._courses = {slot: course for slot, course in self._courses.items() if slot in mark.courses}
        before = self._loops()
        for slot, snapshot in mark.courses.items():
            self._courses[slot].restore(snapshot)
        for column in self._columns:
            column.cut(mark.rows)
        self._done = mark.done
        if self._loops() != before:
            self._write(self._track.timeline(), anew=True)

    @contextmanager
    def _or_back_to(self, mark: _Mark) -> Iterator[None]:
        try:
            yield
        except BaseException:
            self._restore(mark)
            raise
