"""Which values that the source leaves open have cost an output its claim, and at which update."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from forelight.sim.undefined.drawn import OPEN
from forelight.sim.undefined.opened import Opened
from numpy.typing import NDArray

from .freerun import touched

Values = NDArray[np.unsignedinteger[Any]]


@frozen
class Opening:
    """A line of the source that leaves a value open, and a mask of the outputs that are unsettled for it.

    The value is open from `update` on, counted from 0; -1 is power-up. With `always` there is no condition to it.
    """

    reason: str
    line: str
    update: int
    outputs: int
    always: bool


def openings(
    found: Opened, drawn: Simulation, values: Values, power_ups: Iterable[PowerUp], lost: NDArray[np.uint8]
) -> tuple[Opening, ...]:
    """What explains `lost`: for power-up and each of `values`, a mask of the bits of outputs that draws alone unsettle.

    `drawn` simulates `found.drawn`, and each of the power-ups is asked when which value is open.
    """
    if not lost.any():
        return ()
    when = np.zeros(len(lost), np.uint64)
    for power_up in power_ups:
        drawn.power_cycle(power_up)
        drawn.settle()
        when[0] |= np.uint64(drawn.get(OPEN))
        when[1:] |= drawn.run_samples("inputs", values, OPEN).astype(np.uint64)
    named = []
    for number, place in enumerate(found.places):
        reached = touched(found.netlist, place.values) | place.outputs.get("outputs", 0)
        rows = np.flatnonzero(lost & np.uint8(reached))
        open_ = (when >> np.uint64(number) & np.uint64(1)).astype(bool)
        if len(rows) and open_[: rows[0] + 1].any():
            last = int(np.flatnonzero(open_[: rows[0] + 1])[-1])
            closed = np.flatnonzero(~open_[:last])
            begun = int(closed[-1]) + 1 if len(closed) else 0
            outputs = int(np.bitwise_or.reduce(lost[rows])) & reached
            named.append(Opening(place.reason, place.line, begun - 1, outputs, place.always))
    return tuple(named)
