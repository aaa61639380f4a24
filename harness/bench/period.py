"""The same up to a shift in time: a run that repeats itself, of which every power-up is at another place.

A free counter without a restart wakes up anywhere, and yet all that it will ever show is known: the same sequence,
begun somewhere else. That is claimed only of a run that ends with the step line alone in motion, where the first
power-up comes back to a state that it has had, and where each of the others shows the same sequence over that period
from another place on, and is back in its own state at the end of it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from forelight.sim import recurrence
from forelight.sim.frozen import frozen
from forelight.sim.simulation import Simulation
from numpy.typing import NDArray

from .powerups import Answer, steady

Values = NDArray[np.unsignedinteger[Any]]

#: Places that may be a period apart, at which states are compared.
_TRIES = 1024
#: Updates that all power-ups together may take.
_MOST = 1 << 28


@frozen
class Period:
    """From so many updates on the run repeats itself every `length` updates, whatever the power-up but for a shift."""

    start: int
    length: int


def period(simulation: Simulation, values: Values, answer: Answer) -> Period | None:
    """What all power-ups have in common in a run that they do not agree on."""
    begun = steady(values)
    for standing in answer.standings:
        start, states = standing.updates, standing.states
        if start < begun or start >= len(values):
            continue
        length = recurrence.period(
            simulation, states[0], "inputs", values[start:], "outputs", answer.outputs[start + 1 :], _TRIES
        )
        if length is None or length * len(states) > _MOST:
            continue
        first = _shown(simulation, states[0], values[start : start + length])
        others = (_shown(simulation, state, values[start : start + length]) for state in states[1:])
        if first is not None and all(other is not None and _is_shift(first, other) for other in others):
            return Period(start, length)
    return None


def _shown(simulation: Simulation, state: bytes, values: Values) -> bytes | None:
    """What is shown from a state on until it comes back; None where it does not."""
    simulation.restore(state)
    shown = simulation.run_samples("inputs", values, "outputs").tobytes()
    return shown if simulation.snapshot() == state else None


def _is_shift(first: bytes, other: bytes) -> bool:
    """Whether a period is the other one begun elsewhere, by whole steps."""
    twice, at = first + first, 0
    while (at := twice.find(other, at)) >= 0:
        if at % 2 == 0:
            return True
        at += 1
    return False
