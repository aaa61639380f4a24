"""A design with stuck-at faults inside, on the bench: one fault in all lanes, or a fault a lane."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.faults import Fault, collapsed
from forelight.sim.lanes.variants import Lanes
from forelight.sim.netlist import Netlist
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

Outputs = NDArray[np.uint8]
Values = NDArray[np.unsignedinteger[Any]]

#: Faults in one word; the widest words are quickest by the lane.
LANES = 512


#: The last netlists that were drawn, by identity: each with its gates and its faults.
_DRAWN: dict[int, tuple[Netlist, Netlist, tuple[Fault, ...]]] = {}
_MOST = 8


def _remembered(netlist: Netlist) -> tuple[Netlist, Netlist, tuple[Fault, ...]]:
    known = _DRAWN.get(id(netlist))
    if known is None or known[0] is not netlist:
        found = gates(netlist, as_drawn=True)
        classes = () if found.memories else tuple(members[0] for members in collapsed(found))
        if len(_DRAWN) == _MOST:
            _DRAWN.pop(next(iter(_DRAWN)))
        known = _DRAWN[id(netlist)] = netlist, found, classes
    return known


def drawn(netlist: Netlist) -> Netlist:
    """The netlist as gates, which have the sites."""
    return _remembered(netlist)[1]


def faults(netlist: Netlist) -> tuple[Fault, ...]:
    """One fault of each class that nothing can tell apart; none for a design with a memory that is no gates."""
    return _remembered(netlist)[2]


def faulty(
    netlist: Netlist, fault: Fault, values: Values, power_ups: Sequence[PowerUp]
) -> tuple[Outputs, Outputs]:
    """What a design with this fault puts out from the first power-up, a value more than updates; and on what all agree."""
    lanes = Lanes(drawn(netlist), len(power_ups), power_ups, faults=[fault] * len(power_ups))
    shown = _run(lanes, values)
    return shown[0], ~np.bitwise_or.reduce(shown ^ shown[0], axis=0)


def lane_by_lane(netlist: Netlist, some: Sequence[Fault], values: Values) -> Iterator[tuple[Fault, Outputs]]:
    """What a design puts out with each of these faults, from all flip-flops at 0: a value more than updates."""
    for part in (some[at : at + LANES] for at in range(0, len(some), LANES)):
        lanes = Lanes(drawn(netlist), len(part), 0, faults=part)
        yield from zip(part, _run(lanes, values), strict=True)


def _run(lanes: Lanes, values: Values) -> Outputs:
    lanes.settle()
    first = np.array(lanes.get("outputs"), np.uint8)
    rest = lanes.run_samples({"inputs": values}, "outputs")
    return np.concatenate([first[:, None], rest.astype(np.uint8)], axis=1)
