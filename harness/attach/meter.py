"""A pulse-width meter: frequency and duty of a line over its whole periods, with their least and most."""

from __future__ import annotations

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN
from forelight.sim.traces.trace import Trace
from numpy.typing import NDArray

from .wiring import states


@frozen
class Spread:
    """The least, the mean and the most of a reading."""

    least: float
    mean: float
    most: float


@frozen
class Reading:
    """Over `periods` whole periods from rise to rise: `hz`, and `duty` as the share of the period that is high.

    The mean frequency is periods over time, and the mean duty high time over time. Both are exact for a trace
    that is exact; a real meter adds its own count of plus or minus one (Hewlett-Packard, Application Note 200,
    Fundamentals of Electronic Counters; from memory).
    """

    periods: int
    hz: Spread
    duty: Spread


def measure(trace: Trace, hz: float, signal: str = "signal") -> Reading | None:
    """Read a signal whose times count `hz` to the second; None without one whole period.

    A period in which the line was unsettled is left out.
    """
    times, levels = states(trace, signal)
    # A whole period is high, low and high again, each of them known; the beginning of the trace is no rise.
    rises = np.flatnonzero((levels[1:-2] == 1) & (levels[2:-1] == 0) & (levels[3:] == 1)) + 1
    rises = rises[levels[rises - 1] != UNKNOWN]
    if not len(rises):
        return None
    lasting: NDArray[np.int64] = times[rises + 2] - times[rises]
    high: NDArray[np.int64] = times[rises + 1] - times[rises]
    whole = float(lasting.sum())
    shares = high / lasting
    return Reading(
        periods=len(rises),
        hz=Spread(hz / int(lasting.max()), len(rises) * hz / whole, hz / int(lasting.min())),
        duty=Spread(float(shares.min()), float(high.sum()) / whole, float(shares.max())),
    )
