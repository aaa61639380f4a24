"""The lamp dimmer against the duty formula of pulse width modulation."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

LAMP = 0b0111_1111
PERIOD = 15


@pytest.mark.parametrize("level", range(16))
def test_duty(drive: Drive, level: int) -> None:
    """Duty = time lit / period (definition), here level / 15; the eye sees the average (Talbot-Plateau)."""
    design = drive("lamp_dimmer")
    design.switch(level)
    design.restart()
    lamp = design.steps(10 * PERIOD) & LAMP
    assert set(lamp) <= {0, LAMP}
    assert Fraction(int(np.count_nonzero(lamp)), len(lamp)) == Fraction(level, PERIOD)


@pytest.mark.parametrize("level", range(1, 15))
def test_one_pulse_a_period(drive: Drive, level: int) -> None:
    """Width, not density: one unbroken pulse in each period, which begins with the mark on the point."""
    design = drive("lamp_dimmer")
    design.switch(level)
    design.restart()
    outputs = np.append(design.now(), design.steps(10 * PERIOD - 1)).reshape(10, PERIOD)
    assert (outputs >> 7 == [1] + [0] * (PERIOD - 1)).all()
    assert (outputs & 1 == [1] * level + [0] * (PERIOD - level)).all()


def test_period_is_above_flicker(drive: Drive) -> None:
    """At the wanted rate the lamp pulses at 100 Hz; at the caution's 900 steps a second, at 60 Hz."""
    design = drive("lamp_dimmer")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == 100 * PERIOD
    assert f"slower than {60 * PERIOD} steps a second" in design.datasheet.description


@pytest.mark.parametrize("level", range(16))
def test_a_new_level_counts_at_once(drive: Drive, level: int) -> None:
    """After any change of level the next whole period has the new duty."""
    design = drive("lamp_dimmer")
    design.switch(level)
    design.restart()
    design.steps(7)
    design.switch(15 - level)
    outputs = design.steps(2 * PERIOD)
    start = int(np.flatnonzero(outputs >> 7)[0])
    assert np.count_nonzero(outputs[start : start + PERIOD] & 1) == 15 - level
