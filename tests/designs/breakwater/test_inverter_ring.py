"""Inverter ring: its one state of rest, and that there is none when it may run."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import pytest
from forelight.sim.loops import LoopError

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive


def states_of_rest(run: int) -> list[tuple[int, ...]]:
    """All settings of the five nets in which every gate agrees with its inputs (Boolean algebra, exhaustive)."""
    return [
        nets
        for nets in product((0, 1), repeat=5)
        if nets[0] == 1 - (run & nets[4]) and all(nets[n] == 1 - nets[n - 1] for n in range(1, 5))
    ]


@pytest.mark.parametrize("power_up", [0, 1])
def test_held_still(drive: Drive, power_up: PowerUp) -> None:
    (rest,) = states_of_rest(run=0)
    design = drive("inverter_ring", power_up)
    for follows in (0, 1):
        design.set(i1=follows)
        assert design.outputs == sum(level << n for n, level in enumerate(rest)) | follows << 7


def test_running_is_reported_with_its_nets(drive: Drive) -> None:
    """An odd number of inversions in a ring has no state of rest."""
    assert states_of_rest(run=1) == []
    design = drive("inverter_ring")
    with pytest.raises(LoopError, match="ring") as caught:
        design.set(i0=1)
    (loop,) = caught.value.loops
    assert any("ring" in net or net.endswith((".y", ".a")) for net in loop.nets)
    assert all(place.startswith("design.v:") for place in loop.places)
    assert (loop.shortest, loop.longest) == (5, 5)
