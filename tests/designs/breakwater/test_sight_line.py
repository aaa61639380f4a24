"""The sight line's brightness hour by hour, as the eye averages it, and that it does not flicker."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

RATE_HZ = 1500
LAMP = 0b0111_1111
QUICK_HOUR = 1504  # steps: about a second


def restarted(drive: Drive, quick: int) -> Driven:
    design = drive("sight_line")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.switch(quick)
    design.restart()
    return design


def lamp(outputs: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Whether it is lit, at each step; the seven segments must agree."""
    assert np.isin(outputs & LAMP, (0, LAMP)).all()
    lit: NDArray[np.bool_] = outputs & LAMP != 0
    return lit


def brightness(hour: int) -> Fraction:
    """What the description says: full by day, half as bright with each hour from four in the afternoon, as at dawn."""
    from_noon = hour - 12 if hour >= 12 else 11 - hour  # whole hours between this one and noon
    return Fraction(1, 2 ** min(4, max(0, from_noon - 4)))


@pytest.mark.parametrize("hour", range(24))
def test_the_mean_of_each_hour(drive: Drive, hour: int) -> None:
    """Fast pulses look as bright as their time average (Talbot-Plateau law): exact, pulse by pulse."""
    design = restarted(drive, quick=1)
    if hour:
        design.steps(hour * QUICK_HOUR)
    lit = lamp(np.append(design.now(), design.steps(QUICK_HOUR - 1))).reshape(-1, 16)
    assert {Fraction(int(pulse.sum()), 16) for pulse in lit} == {brightness(hour)}


def test_real_hours(drive: Drive) -> None:
    """The night up to full day: 3600 s of the right brightness each, the point in the first."""
    design = restarted(drive, quick=0)
    output = design.now()
    for hour in range(8):
        outputs = design.steps(3600 * RATE_HZ)
        seen = np.concatenate([output, outputs[:-1]])
        assert Fraction(int(lamp(seen).sum()), len(seen)) == brightness(hour)
        assert ((seen >> 7 == 1) == (hour == 0)).all()
        output = outputs[-1:]


def test_it_does_not_flicker(drive: Drive) -> None:
    """By the spectrum of a dim hour nothing slower than 90 Hz moves; at the caution's 960 steps a second, 60 Hz."""
    design = restarted(drive, quick=0)
    assert "below 960" in design.datasheet.description
    lit = lamp(design.steps(1504)).astype(float)
    spectrum = np.abs(np.fft.rfft(lit - lit.mean()))
    slowest_hz = np.fft.rfftfreq(len(lit), 1 / RATE_HZ)[np.flatnonzero(spectrum > 1e-6)[0]]
    assert slowest_hz == pytest.approx(RATE_HZ / 16)
    assert slowest_hz * 960 / RATE_HZ == pytest.approx(60)


@pytest.mark.parametrize("before", [1, 1503, 5000])
def test_turned_to_quick_the_hour_ends_in_a_second(drive: Drive, before: int) -> None:
    """Wherever the hour was; the point goes out with it."""
    design = restarted(drive, quick=0)
    design.steps(before)
    design.set(i0=1)
    assert design.steps(QUICK_HOUR)[-1] >> 7 == 0
