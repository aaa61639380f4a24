"""Gated clock against arithmetic: it counts the steps for which the gate was open, and cuts no pulse."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive


@pytest.mark.parametrize("power_up", [0, 1])
def test_counts_the_steps_let_through(drive: Drive, power_up: PowerUp) -> None:
    """Their number modulo 8 (arithmetic)."""
    seed = 5
    print("seed", seed)
    source = random.Random(seed)
    design = drive("gated_clock", power_up)
    design.restart()
    let_through = 0
    for _ in range(200):
        opened = source.randrange(2)
        design.set(i0=opened)
        design.steps(1)
        let_through += opened
        assert design.outputs == let_through % 8


@pytest.mark.parametrize("opened", [0, 1])
def test_the_gate_does_not_move_during_a_pulse(drive: Drive, opened: int) -> None:
    """A latch before the gate keeps the gated clock free of cut pulses (common practice, no source)."""
    design = drive("gated_clock")
    design.restart()
    design.set(i0=opened)
    design.set(i7=1)
    for level in (1 - opened, opened, 1 - opened):
        design.set(i0=level)
        assert design.outputs == (opened << 7 | opened)
