"""The horizon for all heights, against integer roots and the geometry of the earth."""

from __future__ import annotations

from math import isqrt
from typing import TYPE_CHECKING

import mpmath
import numpy as np
import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

METRES_PER_MILE = 1852  # the international nautical mile
EARTH_M = 6_371_000  # mean radius (IUGG; from memory)
REFRACTION = (
    7 / 6
)  # light bends as if the earth were larger by this factor (Bowditch, American Practical Navigator; from memory)
HEIGHTS = pytest.mark.parametrize("height", range(64))


@HEIGHTS
def test_the_root_is_the_integer_root(drive: Drive, height: int) -> None:
    """Python's isqrt for every height, from any time in a root's eight steps, and steady from then on."""
    design = drive("horizon")
    for before in range(8):
        design.switch(63 - height)
        design.restart()
        if before:
            design.steps(before)
        design.switch(height)
        assert set(design.steps(16 + 40)[15:]) == {isqrt(433 * height)}


@HEIGHTS
def test_the_distance_is_that_of_the_earth(drive: Drive, height: int) -> None:
    """sqrt(2 r h) with the enlarged radius, by mpmath; the design rounds down twice.

    Its constant is 433 where the earth has 433.4, which takes 0.05 % of the distance, and the root's rounding
    takes less than a tenth of a mile.
    """
    design = drive("horizon")
    design.switch(height)
    design.restart()
    tenths_squared_per_metre = 100 * 2 * REFRACTION * EARTH_M / METRES_PER_MILE**2
    assert tenths_squared_per_metre == pytest.approx(433.4, abs=0.05)
    miles = float(mpmath.sqrt(tenths_squared_per_metre * height)) / 10
    shown = int(design.steps(16)[-1]) / 10
    assert miles * (1 - 0.0005) - 0.1 < shown <= miles


def test_no_other_number_on_the_way(drive: Drive) -> None:
    """From height to height the outputs go straight from the old distance to the new one."""
    design = drive("horizon")
    design.restart()
    for before, after in ((0, 63), (63, 1), (1, 40)):
        design.switch(before)
        design.steps(16)
        design.switch(after)
        seen = design.steps(30)
        assert set(seen) <= {isqrt(433 * before), isqrt(433 * after)}
        assert np.count_nonzero(np.diff(seen.astype(int))) == 1
