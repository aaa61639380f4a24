"""What the pins show, without proof: many handlings in the time of one prediction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Netlist
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from ...bench.bench import Shown, shown_within
from ...bench.course import Course, Seat
from ...bench.powerups import Sample, power_up_of, sampled_power_ups, states
from ...bench.predict import golden_of
from ...bench.story import Outcome
from ...chip.routing import routing
from ...golden.golden import Golden
from ...hand.timeline import Lines, Timeline

if TYPE_CHECKING:
    from forelight.sim.lanes.faults import Fault

#: Power-ups that are tried of a design, and the most states of one that is tried in each.
MANY, MOST = 256, 512


def lightly(
    plan: Timeline, seats: Mapping[int, Seat], power_ups: int, wake: int | None, fault: Fault | None
) -> Golden:
    """The golden of a timeline on which some power-ups agree; or from the power-up number `wake` alone.

    A `fault` is in the design that is selected at the end. Raises a ForelightError where a design cannot be run.
    """
    slot = int(plan.slots[-1])
    courses, outcomes = {}, {}
    for number in set(plan.slots.tolist()) & set(seats):
        course = courses[number] = reached(plan, seats, number)
        netlist = course.seat.netlist
        held = (
            sampled_power_ups(power_ups, 0) if wake is None else [power_up_of(netlist, wake, many(netlist))]
        )
        if fault is not None and number == slot:
            from .lanes import faulty

            outputs, agreed = faulty(netlist, fault, course.values, partial(list, held))
            outcomes[number] = Outcome(course.frames, outputs, np.zeros_like(agreed), agreed)
        else:
            outcomes[number] = _outcome(plan, course, held)
    return golden_of(plan, _shown(plan, seats, courses, outcomes), slot)


def shown_with(
    plan: Timeline,
    seats: Mapping[int, Seat],
    course: Course,
    outputs: NDArray[np.uint8],
    agreed: NDArray[np.uint8],
) -> Golden:
    """The golden of a timeline in which only the design of this course is selected, which puts out these."""
    outcome = Outcome(course.frames, outputs, np.zeros_like(agreed), agreed)
    return golden_of(plan, _shown(plan, seats, {course.slot: course}, {course.slot: outcome}), course.slot)


def reached(plan: Timeline, seats: Mapping[int, Seat], slot: int) -> Course:
    """What reaches the design in a slot."""
    course = Course(plan.board, slot, seats[slot], lambda: [0], 0)
    course.reach(plan)
    return course


def many(netlist: Netlist) -> int:
    """How many power-ups of a netlist are tried."""
    return MOST if MANY < states(netlist) <= MOST else MANY


def _outcome(plan: Timeline, course: Course, held: Sequence[PowerUp]) -> Outcome:
    seat = course.seat
    if not seat.memories:
        try:
            outputs, agreed = _run(seat.simulation, course.values, held)
        except LoopError:  # one that runs free: the bench itself takes that apart
            pass
        else:
            return Outcome(course.frames, outputs, np.zeros_like(outputs), agreed)
    whole = Course(plan.board, course.slot, seat, lambda: held, 0)
    whole.reach(plan)
    whole.run(plan)
    return whole.outcome()


def _run(
    simulation: Simulation, values: Lines, held: Sequence[PowerUp]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """What the first of these power-ups puts out, a value more than updates, and a mask of where all agree."""
    if len(held) > 1:
        sample = Sample(simulation, held, 0, len(values))
        sample.extend(values)
        return sample.outputs, ~sample.differ
    simulation.power_cycle(held[0])
    simulation.settle()
    first = np.array([simulation.get("outputs")], np.uint8)
    outputs = np.concatenate([first, simulation.run_samples("inputs", values, "outputs")])
    return outputs, np.full_like(outputs, 0xFF)


def _shown(
    plan: Timeline, seats: Mapping[int, Seat], courses: Mapping[int, Course], outcomes: Mapping[int, Outcome]
) -> Shown:
    slot = int(plan.slots[-1])
    tables = {number: routing(plan.board, seat.datasheet) for number, seat in seats.items()}
    rises = courses[slot].rises if slot in courses else np.zeros(0, np.int64)
    return shown_within(plan, outcomes, tables, rises, 0)
