"""A lamp on a line: lit, dark, or at the brightness that the eye sees when it changes too fast to follow."""

from __future__ import annotations

import numpy as np
from forelight.sim.levels import UNKNOWN
from forelight.sim.traces.trace import Trace

from ..view.brightness import line_seen
from ..view.pictures import Picture
from .wiring import states


def looks(trace: Trace, hz: float, active: str = "high", signal: str = "signal") -> list[Picture]:
    """What a lamp shows that is lit while the signal is `active` (high or low), as pictures of one lamp.

    The signal's times count `hz` to the second.
    """
    times, levels = states(trace, signal)
    if active == "low":
        levels = np.where(levels == UNKNOWN, levels, 1 - levels)
    seen_times, seen = line_seen(times, levels.astype(np.float64), trace.end, hz)
    ends = [*seen_times[1:].tolist(), trace.end]
    return [
        Picture(start, end - start, 0, (None if level == UNKNOWN else level,))
        for start, end, level in zip(seen_times.tolist(), ends, seen.tolist(), strict=True)
    ]
