"""Inside a design during a run: its updates in time, its state after any of them, and the values of any name."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Procedure
from forelight.designs.toml_file import did_you_mean, quoted
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from forelight.sim.traces.trace import Trace
from numpy.typing import NDArray

from ..attach.wired_memory import PHASES
from ..boards.profile import Board
from ..chip.routing import step_input
from ..hand.timeline import Lines, Timeline, timeline
from .answers import in_phases
from .course import Course, Seat, seated

#: Where the netlist of a bench has the names of the source.
_DESIGN = "wrapper.design."


@frozen
class Inside:
    """One design under one procedure, from one power-up.

    `rows[k]` is the k-th update of the port `inputs`; on a chain with a serial memory a frame has `each` of them. The
    design sees it in frame `frames[k]`, at tick `ticks[k]`, when it has seen `steps[k]` rises of its step line.
    """

    plan: Timeline
    seat: Seat
    rows: Lines
    frames: NDArray[np.int64]
    ticks: NDArray[np.int64]
    steps: NDArray[np.int64]
    each: int

    @staticmethod
    def of(
        board: Board, sheet: Datasheet, procedure: Procedure, slot: int, seat: Seat | None = None
    ) -> Inside:
        """Raises a ForelightError where the design cannot be read or the procedure cannot be carried out.

        `seat` is the design on this board, where that has been read before.
        """
        plan, seat = timeline(board, sheet, procedure, slot=slot), seat or seated(board, sheet)
        course = Course(board, slot, seat, tuple, 0)
        course.reach(plan)
        rows, each = course.values, 1
        if seat.memories and board.link == "chain":
            rows, each = in_phases(rows, 0, len(course.table)), len(PHASES)
        frames = np.repeat(course.frames, each)
        return Inside(plan, seat, rows, frames, plan.ticks(frames), _steps(rows, step_input(sheet)), each)

    @cached_property
    def simulation(self) -> Simulation:
        return self.seat.simulation

    def row_of_step(self, step: int) -> int:
        """The last update before the step line rises for the time after this one."""
        return int(np.searchsorted(self.steps, step, side="right")) - 1

    def row_at(self, tick: int) -> int:
        """The last update that the design has seen in this tick; -1 before the first."""
        return int(np.searchsorted(self.ticks, tick, side="right")) - 1

    def state(self, row: int, power_up: PowerUp = 0) -> bytes:
        """The state after an update, -1 for that after power-up; the simulation is left in it."""
        sim = self.simulation
        sim.power_cycle(power_up)
        sim.settle()
        if row >= 0:
            sim.run_samples("inputs", self.rows[: row + 1], "outputs")
        return sim.snapshot()

    @cached_property
    def names(self) -> dict[str, str]:
        """The names that the source gives its signals, without those of the wrapper around it: short -> whole."""
        shorter = {
            name: name.removeprefix(_DESIGN) for name in self.seat.netlist.names if name.startswith(_DESIGN)
        }
        return {short: name for name, short in shorter.items() if "$" not in short}

    def whole(self, name: str) -> str:
        """The whole name of a signal of the source. Raises UsageError where there is none."""
        if name not in self.names:
            near = did_you_mean(name, self.names) or f"there are {', '.join(list(self.names)[:12]) or 'none'}"
            raise UsageError(f"{self.seat.datasheet.name} has no signal {quoted(name)}", remedy=near)
        return self.names[name]

    def watched(self, names: Sequence[str], power_ups: Sequence[PowerUp] = (0,)) -> Trace:
        """Signals of the source in ticks, from the first power-up; bits on which others differ are unknown.

        Raises UsageError for a name that is not there, or wider than 64 bits.
        """
        last = slice(self.each - 1, None, self.each)
        values, unknown = {}, {}
        for name in names:
            found, differ = self.values(self.whole(name), power_ups)
            values[name], unknown[name] = found[last].astype(np.uint64), differ[last].astype(np.uint64)
        widths = {name: self.seat.netlist.names[self.whole(name)].width for name in names}
        return Trace(
            self.ticks[last],
            values,
            widths,
            int(self.plan.start_ticks(np.array([self.plan.end]))[0]),
            unknown,
        )

    def values(self, name: str, power_ups: Sequence[PowerUp] = (0,)) -> tuple[NDArray[Any], NDArray[Any]]:
        """A name of the source after each update, from the first power-up; and the bits on which others differ.

        Raises UsageError for a name that is not there, or wider than 64 bits.
        """
        found: NDArray[Any] | None = None
        differ: NDArray[Any] | None = None
        for power_up in power_ups:
            self.simulation.power_cycle(power_up)
            self.simulation.settle()
            shown = self.simulation.run_samples("inputs", self.rows, name)
            if found is None or differ is None:
                found, differ = shown, np.zeros_like(shown)
            else:
                differ |= shown ^ found
        assert found is not None and differ is not None
        return found, differ


def _steps(rows: Lines, step: int | None) -> NDArray[np.int64]:
    if step is None:
        return np.zeros(len(rows), np.int64)
    levels = (rows >> np.uint16(step) & np.uint16(1)).astype(np.int8)
    counted: NDArray[np.int64] = np.cumsum(np.diff(levels, prepend=np.int8(0)) == 1)
    return counted
