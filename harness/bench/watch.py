"""A watch over the bench during a procedure: what stands at any moment, and what became of each press."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cached_property

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from numpy.typing import NDArray

from ..boards.profile import Board
from ..chip.routing import divided_line, restart_input, routing, step_input
from ..golden.golden import Golden
from ..view.status import ELSEWHERE, OFF, RUNNING, STOPPED, Status, Touch
from .holding import holders
from .inside import Inside

#: Nothing moves, for a person, if nothing has for so long ...
STILL_S = 1.0
#: ... and for so many steps.
STILL_STEPS = 3
#: Closures of one contact that follow one another within this time are one press that bounces: the worst of 16 switches
#: came to rest after 6.2 ms; two more, which bounced far longer, were left out (Ganssle, A Guide to Debouncing).
BOUNCING_S = 0.02
#: From when to when a contact is closed, in ticks, time after time; and the tick at which a press of such is told.
Closures = list[tuple[int, int]]
Ending = Callable[[str, Closures], int]


class Watch:
    """The bench by tick, for a golden of the same procedure; `origin` is the tick from which its times count."""

    def __init__(self, inside: Inside, golden: Golden, origin: int = 0) -> None:
        self.inside, self.golden, self.origin = inside, golden, origin
        self.board: Board = inside.plan.board
        self.sheet = inside.seat.datasheet
        self._table = routing(self.board, self.sheet)
        self._starts = inside.plan.start_ticks(
            np.array([one.start for one in inside.plan.stretches], np.int64)
        )
        self._holding: dict[int, tuple[str, ...]] = {}

    def status(self, tick: int, *, recent_s: float | None = None) -> Status:
        """The status at a tick; of presses those that ended within the last `recent_s`, or all."""
        now = self._stands(max(0, int(np.searchsorted(self._starts, tick, side="right")) - 1))
        if self._paused(tick):
            now = replace(now, paused=True)
            if now.clock == RUNNING:
                now = replace(now, clock=STOPPED, hz=None)
        since = -np.inf if recent_s is None else self._seconds(tick) - recent_s
        told = tuple(one for one in self._touched(since, self._rest) if one.end_s <= self._seconds(tick))
        last, following = self._around(tick)
        until = self.golden.end + self.origin if following is None else following
        begun = self.origin if last is None else last
        lasts = (until - begun) / self.golden.oscillator_hz
        if lasts < max(STILL_S, STILL_STEPS / now.hz if now.hz else 0):
            return replace(now, touches=told)
        stepped = now.clock == RUNNING and not now.restart_held
        holding = self._held(tick, begun) if stepped else ()
        if stepped and not holding and self._open(tick):
            return replace(now, touches=told)  # who knows whether anything moves
        return replace(
            now,
            touches=told,
            still=True,
            last_s=None if last is None else self._seconds(last),
            next_s=None if following is None else self._seconds(following),
            holding=holding,
        )

    def _open(self, tick: int) -> bool:
        """Whether nothing at all is foretold of the outputs at a tick."""
        row = int(np.searchsorted(self.golden.ticks, tick - self.origin, side="right")) - 1
        return not self.golden.settled[max(row, 0)]

    def _seconds(self, tick: int) -> float:
        return (tick - self.origin) / self.golden.oscillator_hz

    def _paused(self, tick: int) -> bool:
        """Whether a chain's oscillator is off: it has no frames then."""
        pauses = self.inside.plan.pauses
        ends = self.inside.plan.start_ticks(pauses[:, 0])
        starts = ends - pauses[:, 1] * self.board.frame_ticks
        return bool(((starts <= tick) & (tick <= ends)).any())

    def _stands(self, number: int) -> Status:
        """Step clock and restart in one of the stretches over which the hand keeps still."""
        stretch = self.inside.plan.stretches[number]
        step, restart = step_input(self.sheet), restart_input(self.sheet)
        held = False
        if restart is not None and self.sheet.restart is not None:
            active = int(self.sheet.restart.active == "high")
            held = stretch.levels >> self._table[restart] & 1 == active
        line = None if step is None else self._name(self._table[step])
        clock, hz = OFF, None
        if step is not None and self._table[step] != divided_line(self.board):
            clock = ELSEWHERE
        elif stretch.enable:
            clock = RUNNING if stretch.running else STOPPED
            hz = float(self.board.frame_hz / (2 * stretch.half))
        if clock in (OFF, ELSEWHERE) and stretch.pulsing:
            hz = float(self.board.frame_hz / (2 * stretch.beat))
        return Status(
            step_line=line,
            clock=clock,
            hz=hz,
            clock_line=self.board.step_line,
            restart_line=None if restart is None else self._name(self._table[restart]),
            restart_held=held,
        )

    @staticmethod
    def _name(line: int) -> str:
        return INPUT_LINES[line] if line < len(INPUT_LINES) else "own"

    @cached_property
    def _moves(self) -> NDArray[np.int64]:
        """The ticks in which an output moves."""
        golden = self.golden
        moved = np.zeros(len(golden.ticks), bool)
        moved[1:] = (golden.outputs[1:] != golden.outputs[:-1]) | (golden.settled[1:] != golden.settled[:-1])
        return golden.ticks[moved] + self.origin

    def _around(self, tick: int) -> tuple[int | None, int | None]:
        """When an output moved last, since the origin, and when one moves next."""
        at = int(np.searchsorted(self._moves, tick, side="right"))
        last = int(self._moves[at - 1]) if at and self._moves[at - 1] > self.origin else None
        return last, int(self._moves[at]) if at < len(self._moves) else None

    def _held(self, tick: int, begun: int) -> tuple[str, ...]:
        """The lines that keep the design still, found once for each time without a move."""
        if begun not in self._holding:
            row = self.inside.row_at(tick)
            state = self.inside.state(row)
            inputs = int(self.inside.rows[row]) if row >= 0 else 0
            step, restart = step_input(self.sheet), restart_input(self.sheet)
            lines = [line for line in range(8) if line != restart]
            found = (
                ()
                if self.inside.seat.memories
                else holders(self.inside.simulation, state, inputs, step, lines)
            )
            self._holding[begun] = tuple(INPUT_LINES[line] for line in found)
        return self._holding[begun]

    # Presses

    @cached_property
    def touches(self) -> tuple[Touch, ...]:
        """What became of each press of a button that is over."""
        return self._touched(-np.inf, lambda line, group: group[-1][1])

    def _touched(self, since: float, ending: Ending) -> tuple[Touch, ...]:
        """Of those that ended at a second or later."""
        return tuple(sorted(self._touches(since, ending), key=lambda one: one.end_s))

    def _touches(self, since: float, ending: Ending) -> Iterator[Touch]:
        ends = [*self._starts[1:].tolist(), self.golden.end + self.origin]
        for line in self.board.buttons:
            bit = INPUT_LINES.index(line)
            closed: Closures = []
            for stretch, start, end in zip(
                self.inside.plan.stretches, self._starts.tolist(), ends, strict=True
            ):
                if stretch.buttons >> bit & 1:
                    if closed and closed[-1][1] == start:
                        closed[-1] = closed[-1][0], end
                    else:
                        closed.append((start, end))
            for group in self._grouped(closed):
                end = ending(line, group)
                if end < ends[-1] and self._seconds(end) >= since:
                    yield self._touch(line, group, end)

    def _rest(self, line: str, group: Closures) -> int:
        """The tick at which all is known of a press: it is over, or it has bounced and its contact rests."""
        last, end = group[-1]
        patience = max(int(BOUNCING_S * self.golden.oscillator_hz), self.board.debounce.get(line, 0))
        return min(end, last + patience) if len(group) > 1 else end

    def _grouped(self, closed: Closures) -> Iterator[Closures]:
        """Closures as presses: those that follow one another closely are one that bounces."""
        group: Closures = []
        for one in closed:
            if group and one[0] - group[-1][1] > BOUNCING_S * self.golden.oscillator_hz:
                yield group
                group = []
            group.append(one)
        if group:
            yield group

    def _touch(self, line: str, group: Closures, last: int) -> Touch:
        inside, bit = self.inside, INPUT_LINES.index(line)
        frame = self.board.frame_ticks
        first = group[0][0]
        before, after = inside.row_at(first - 1), inside.row_at(last + frame - 1)
        levels = inside.rows[max(before, 0) : after + 1] >> np.uint16(bit) & np.uint16(1)
        rises = int(np.count_nonzero(np.diff(levels.astype(np.int8)) == 1))
        return Touch(
            line,
            self._seconds(first),
            self._seconds(last),
            touches=len(group),
            rises=rises,
            seen=self._told(before, after),
        )

    def _told(self, before: int, after: int) -> bool:
        """Whether a press between two updates changed anything that stays, or that was shown meanwhile."""
        inside = self.inside
        if inside.seat.memories or step_input(self.sheet) is None or before < 0:
            return True
        if inside.steps[before] != inside.steps[after] or inside.rows[before] != inside.rows[after]:
            return True
        sim, state = inside.simulation, inside.state(before)
        shown = sim.run_samples("inputs", inside.rows[before + 1 : after + 1], "outputs")
        quiet = bool((shown == sim.get("outputs")).all()) and sim.snapshot() == state
        return not quiet
