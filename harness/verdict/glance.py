"""Refuses a recording at a glance: by outputs that a prediction holds for good, and that were seen otherwise."""

from __future__ import annotations

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.sim.levels import UNKNOWN

from ..capture.record import Capture
from ..golden.golden import Golden

LATE = 0.5  # of a recording: only its later half surely lies behind the set-up
SHARE = 0.2  # of that, in which a line must be seen otherwise


def refused(golden: Golden, capture: Capture, start: int) -> str | None:
    """Which line is settled at one level from the tick `start` to the prediction's end, and was seen at the other for
    long: a sentence; None where there is no such line."""
    rows = slice(max(int(np.searchsorted(golden.ticks, start, side="right")) - 1, 0), None)
    steady = int(np.bitwise_and.reduce(golden.settled[rows]))
    high = steady & int(np.bitwise_and.reduce(golden.outputs[rows]))
    low = steady & ~int(np.bitwise_or.reduce(golden.outputs[rows]))
    begin = capture.start + LATE * (capture.end - capture.start)
    for bit, name in enumerate(OUTPUT_LINES):
        line = capture.lines.get(name)
        if line is None or not (high | low) >> bit & 1:
            continue
        level = high >> bit & 1
        ends = np.append(line.times[1:], capture.end)
        long = np.maximum(ends - np.maximum(line.times, begin), 0.0)
        if long[(line.levels != level) & (line.levels != UNKNOWN)].sum() > SHARE * (capture.end - begin):
            return f"Line {name} is predicted to stay {level} and was seen at {1 - level}."
    return None
