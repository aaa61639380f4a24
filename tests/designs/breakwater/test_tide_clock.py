"""The tide clock against the moon: its period, its places, and how far it strays in a month."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

RATE_HZ = 15
PERIOD = (
    (12 * 60 + 25) * 60 * RATE_HZ
)  # 12 h 25 min from high water to high water, half a lunar day (NOAA; from memory)
SYNODIC_MONTH_D = 29.530588853  # mean lunation (Meeus, Astronomical Algorithms; from memory)
RING = {"a": 0, "b": 60, "c": 120, "d": 180, "e": 240, "f": 300}  # degrees clockwise from the top


def bearing(outputs: int) -> int:
    """Where the hand points, in degrees: at a lit segment, or halfway between two neighbours."""
    lit = [RING[segment] for place, segment in enumerate("abcdef") if outputs >> place & 1]
    if len(lit) == 1:
        return lit[0]
    first, second = lit
    if (first, second) == (RING["a"], RING["f"]):
        return 330
    assert second - first == 60
    return first + 30


def test_a_day_and_more(drive: Drive) -> None:
    """Three tides: the hand has gone the same part of the round as time has of the tide, to a twelfth."""
    design = drive("tide_clock")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.restart()
    outputs = np.append(design.now(), design.steps(3 * PERIOD - 1))
    angles = {value: bearing(value) for value in set(outputs.tolist())}
    seen = np.array([angles[value] for value in outputs.tolist()])
    turned = np.arange(3 * PERIOD) * 360 / PERIOD % 360
    assert len(angles) == 12
    assert (turned - seen >= 0).all()
    assert (turned - seen < 30).all()


def test_the_point_is_lit_from_low_water_to_high_water(drive: Drive) -> None:
    """Half the time, while the hand is on the left; segment g, in the middle, is never lit."""
    design = drive("tide_clock")
    design.restart()
    outputs = np.append(design.now(), design.steps(PERIOD - 1))
    assert ((outputs >> 7 == 1) == (np.arange(PERIOD) >= PERIOD // 2)).all()
    assert not (outputs >> 6 & 1).any()


def test_the_moons_mean_tide() -> None:
    """Two tides a lunar day: the moon loses one round a month against the sun. 12 h 25 min is 14 s short of it."""
    lunar_day_h = 24 * SYNODIC_MONTH_D / (SYNODIC_MONTH_D - 1)
    assert lunar_day_h / 2 == pytest.approx(
        12.4206, abs=5e-5
    )  # the principal lunar tide, M2 (NOAA; from memory)
    behind_s = lunar_day_h / 2 * 3600 - PERIOD / RATE_HZ
    assert 14 < behind_s < 15
    assert behind_s * 2 * SYNODIC_MONTH_D < 15 * 60  # a quarter of an hour a month: the weather does more


@pytest.mark.parametrize("before", [0, 1, 55874])
def test_quick(drive: Drive, before: int) -> None:
    """With i0 on, each step moves the hand by 30 degrees, wherever the prescaler was; off, it waits a whole twelfth."""
    design = drive("tide_clock")
    design.restart()
    if before:
        design.steps(before)
    design.set(i0=1)
    assert [bearing(value) for value in design.steps(24).tolist()] == [*range(30, 360, 30), 0] * 2
    design.set(i0=0)
    assert [bearing(value) for value in set(design.steps(PERIOD // 12 - 1).tolist())] == [0]
    assert bearing(design.steps(1)[0]) == 30
