"""Ripple clock against counting in arithmetic, and its restart without a step."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive


@pytest.mark.parametrize("power_up", [0, 1])
def test_counts_in_binary(drive: Drive, power_up: PowerUp) -> None:
    """Exhaustive over the counter's 256 states, twice around: n steps leave n modulo 256 (arithmetic)."""
    design = drive("ripple_clock", power_up)
    design.restart()
    assert design.outputs == 0
    np.testing.assert_array_equal(design.steps(600), np.arange(1, 601) % 256)


def test_restart_needs_no_step(drive: Drive) -> None:
    design = drive("ripple_clock")
    design.restart()
    design.steps(77)
    assert design.outputs == 77
    design.set(i6=1)
    assert design.outputs == 0
