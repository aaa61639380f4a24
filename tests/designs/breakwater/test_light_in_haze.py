"""Light in haze against mpmath, entry by entry, and against what visibility means."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from mpmath import mp, mpf, nint

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

# Of the light, 0.05 is left at the meteorological visibility, and what is left over a distance is a power of
# that (the transmissivity in Allard's law; IALA R0202, from memory).
THRESHOLD = mpf("0.05")
VISIBILITIES = {0: 2, 1: 4, 2: 8, 3: 16}  # by the number on i4 and i5, in nautical miles


@pytest.mark.parametrize("code", VISIBILITIES)
@pytest.mark.parametrize("miles", range(16))
def test_every_entry(drive: Drive, miles: int, code: int) -> None:
    """mpmath at 50 digits, rounded to the nearest of 0 to 255; no entry is near enough to a half to be in doubt."""
    design = drive("light_in_haze")
    design.put(miles | code << 4)
    with mp.workdps(50):
        left = 255 * THRESHOLD ** (mpf(miles) / VISIBILITIES[code])
        assert abs(left - nint(left)) < mpf("0.499")
        assert design.outputs == int(nint(left))


@pytest.mark.parametrize("code", [0, 1, 2])
def test_a_twentieth_is_left_at_the_visibility(drive: Drive, code: int) -> None:
    design = drive("light_in_haze")
    design.put(VISIBILITIES[code] | code << 4)
    assert design.outputs == round(255 / 20)
