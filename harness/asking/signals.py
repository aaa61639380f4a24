"""Signals from inside a design, watched over a run, and asked why they are as they are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from forelight.sim.traces.trace import Trace

from ..bench.powerups import sampled_power_ups
from .question import Question

if TYPE_CHECKING:
    from ..bench.reasons import Reasons

#: Power-ups from which watched signals are sampled.
POWER_UPS = 16
#: Changes of a signal that an answer for scripts holds.
MOST_CHANGES = 10_000


def watched(asking: Question, slot: int, names: Sequence[str]) -> Trace:
    """The signals over the whole procedure."""
    power_ups = sampled_power_ups(min(POWER_UPS, asking.power_ups), asking.seed)
    return asking.inside(slot).watched(names, power_ups)


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

    return Reasons(asking.inside(slot), asking.sheet, asking.board, asking.start())
