"""Signals from inside a design, watched over a run, and asked why they are as they are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from forelight.sim.traces.trace import Trace

from ..bench.powerups import sampled_power_ups
from .question import Question

if TYPE_CHECKING:
    from ..bench.inside import Inside
    from ..bench.reasons import Reasons

#: Power-ups from which watched signals are sampled.
POWER_UPS = 16
#: Changes of a signal that an answer for scripts holds.
MOST_CHANGES = 10_000


def watched(asking: Question, slot: int, names: Sequence[str]) -> Trace:
    """The signals over the whole procedure."""
    return inside(asking, slot).watched(
        names, sampled_power_ups(min(POWER_UPS, asking.power_ups), asking.seed)
    )


def inside(asking: Question, slot: int) -> Inside:
    from ..bench.inside import Inside

    return Inside.of(asking.board, asking.sheet, asking.procedure, slot)


def changes(found: Trace, oscillator_hz: int) -> dict[str, object]:
    """Width and first changes of each signal, for scripts: time and value, and a mask of its unsettled bits."""
    answer: dict[str, object] = {}
    for name, values in found.values.items():
        vague = found.unknown[name]
        fresh = np.ones(len(values), bool)
        fresh[1:] = (values[1:] != values[:-1]) | (vague[1:] != vague[:-1])
        rows = np.flatnonzero(fresh)[:MOST_CHANGES].tolist()
        told = [
            {
                "time_s": int(found.times[row]) / oscillator_hz,
                "value": int(values[row]),
                "unsettled_bits": int(vague[row]),
            }
            for row in rows
        ]
        answer[name] = {"width": found.widths[name], "changes": told}
    return answer


def reasons(asking: Question, slot: int) -> Reasons:
    """Answers to why; times and steps count from the moment at which the slot is up."""
    from ..bench.reasons import Reasons

    return Reasons(inside(asking, slot), asking.sheet, asking.board, asking.start())
