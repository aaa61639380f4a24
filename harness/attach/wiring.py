"""From a golden to what an attachment is given: a trace with a signal for each of its terminals."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim.levels import UNKNOWN
from forelight.sim.traces.trace import Times, Trace
from numpy.typing import NDArray

from ..golden.golden import Golden

States = NDArray[np.uint8]
#: The state of a line that cannot be foretold, beside the levels 0 and 1.


def wired(golden: Golden, lines: Mapping[str, str]) -> Trace:
    """The terminals in `lines` over the whole golden, in oscillator ticks; `low` and `high` are held there."""
    count = len(golden.ticks)
    values, unknown = {}, {}
    for terminal, line in lines.items():
        column, vague = np.full(count, line == "high", np.uint64), np.zeros(count, np.uint64)
        if line in INPUT_LINES:
            column = _bit(golden.inputs, INPUT_LINES.index(line))
        elif line in OUTPUT_LINES:
            column = _bit(golden.outputs, OUTPUT_LINES.index(line))
            vague = _bit(~golden.settled, OUTPUT_LINES.index(line))
        values[terminal], unknown[terminal] = column, vague
    return Trace(golden.ticks, values, dict.fromkeys(lines, 1), golden.end, unknown)


def states(trace: Trace, signal: str) -> tuple[Times, States]:
    """When a signal of one bit changes, and to what: 0, 1 or `UNKNOWN`; the first row is its beginning."""
    found = trace.values[signal].astype(np.uint8)
    if signal in trace.unknown:
        found[trace.unknown[signal] != 0] = UNKNOWN
    fresh = np.ones(len(found), bool)
    fresh[1:] = found[1:] != found[:-1]
    return trace.times[fresh], found[fresh]


def _bit(column: NDArray[np.uint8], bit: int) -> NDArray[np.uint64]:
    return (column >> np.uint8(bit) & np.uint8(1)).astype(np.uint64)
