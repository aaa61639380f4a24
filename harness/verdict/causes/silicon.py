"""Broken silicon: a single line inside the design that is stuck at 0 or at 1."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from forelight.sim.lanes.faults import Fault, FaultLines, describe
from forelight.sim.netlist import Netlist
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from ...bench.course import Seat
from ...bench.powerups import sampled_power_ups
from ...golden.golden import Golden
from ...hand.timeline import Timeline
from .lanes import agreement, drawn, faults, lane_by_lane
from .lightly import reached, shown_with
from .mishap import Mishap

#: Faults that are tried; a design with more is too large for that.
MOST = 4096
#: Power-ups from each of which a design with a fault is run: all 0, all 1, and drawn.
POWER_UPS = 4

#: Ports of a wrapper, which are the board's lines.
_PORT = re.compile(r"\b([io])(?:nputs|utputs)\[(\d)\]")

Bytes = NDArray[np.uint8]


def _held() -> list[PowerUp]:
    return sampled_power_ups(POWER_UPS, 0)


def unnamed(fault: Fault) -> Mishap:
    """The record of one fault, as its site is numbered."""
    site = fault.site
    return _cause(f"{site.place} {site.number}.{site.bit} stuck at {fault.stuck}", fault)


def described(netlist: Netlist, fault: Fault) -> Mishap:
    """The record of one fault, in the words of the source."""
    said = describe(FaultLines(drawn(netlist)), fault).replace("wrapper.design.", "").replace("wrapper.", "")
    return _cause(_PORT.sub(lambda found: f"{found[1]}{found[2]}", said), fault)


def _cause(where: str, fault: Fault) -> Mishap:
    return Mishap(
        "stuck inside the chip",
        f"inside the chip, {where}",
        f"The chip itself may be faulty: inside it, {where.replace(' stuck at', ' is always')}.",
        "Rule out slips of your own first; then try the same slot on another chip: only that tells.",
        lambda it: replace(it, fault=fault),
    )


def all_faults(seat: Seat) -> tuple[Fault, ...]:
    """Those that are tried."""
    if seat.memories:
        return ()
    found = faults(seat.netlist)
    return found if len(found) <= MOST else ()


@dataclass(frozen=True)
class Broken:
    """Faults that show the same, and what the pins show with one of them: where all power-ups agree, and from each."""

    members: list[Fault]
    settled: Golden
    each: Callable[[], Iterator[Golden]]


def foretold(plan: Timeline, seats: dict[int, Seat], slot: int) -> Iterator[Broken]:
    """What the pins show with each fault of the design in this slot."""
    seat = seats[slot]
    some = all_faults(seat)
    if not some or set(plan.slots.tolist()) != {slot}:
        return
    course = reached(plan, seats, slot)
    alike: dict[bytes, tuple[list[Fault], Bytes]] = {}
    for fault, outputs in lane_by_lane(seat.netlist, some, course.values, _held):
        alike.setdefault(outputs.tobytes(), ([], outputs))[0].append(fault)

    def goldens(outputs: Bytes) -> Iterator[Golden]:
        for shown in np.unique(outputs, axis=0):
            yield shown_with(plan, seats, course, shown, np.full_like(shown, 0xFF))

    for members, outputs in alike.values():
        agreed = agreement(outputs)
        settled = shown_with(plan, seats, course, outputs[0] & agreed, agreed)
        yield Broken(members, settled, partial(goldens, outputs))
