"""A design with stuck-at faults inside, on the bench: one fault in all lanes, or a fault a lane."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
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
PowerUps = Callable[[], Sequence[PowerUp]]

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


def faulty(netlist: Netlist, fault: Fault, values: Values, power_ups: PowerUps) -> tuple[Outputs, Outputs]:
    """What a design with this fault puts out from the first power-up, a value more than updates; where all agree."""
    _, shown = next(lane_by_lane(netlist, [fault], values, power_ups))
    return shown[0], agreement(shown)


def agreement(shown: Outputs) -> Outputs:
    """A mask of what is the same from all power-ups, after each update."""
    found: Outputs = ~np.bitwise_or.reduce(shown ^ shown[:1], axis=0)
    return found


def lane_by_lane(
    netlist: Netlist, some: Sequence[Fault], values: Values, power_ups: PowerUps
) -> Iterator[tuple[Fault, Outputs]]:
    """What the design puts out with each of these faults, side by side: a row for each power-up."""
    each = len(power_ups())
    count = max(LANES // each, 1)
    for part in (some[at : at + count] for at in range(0, len(some), count)):
        filled = [
            *part,
            *[part[-1]] * (min(count, len(some)) - len(part)),
        ]  # of one size, to be compiled once
        faults = [fault for fault in filled for _ in range(each)]
        held = [up for _ in filled for up in power_ups()]
        lanes = Lanes(drawn(netlist), len(faults), held, faults=faults)
        shown = _run(lanes, values).reshape(len(filled), each, -1)
        yield from zip(part, shown, strict=False)


def _run(lanes: Lanes, values: Values) -> Outputs:
    lanes.settle()
    first = np.array(lanes.get("outputs"), np.uint8)
    rest = lanes.run_samples({"inputs": values}, "outputs")
    return np.concatenate([first[:, None], rest.astype(np.uint8)], axis=1)
