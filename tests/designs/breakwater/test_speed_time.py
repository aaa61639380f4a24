"""Speed times time against multiplication and against what a knot is, for every pair of numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

NAUTICAL_MILE = 1852  # metres; a knot is one of them an hour (SI brochure, 8th edition, table 8; from memory)


@pytest.mark.parametrize("hours", range(16))
def test_every_product(drive: Drive, hours: int) -> None:
    design = drive("speed_time")
    for knots in range(16):
        design.put(knots | hours << 4)
        assert design.outputs == knots * hours
        assert design.outputs * NAUTICAL_MILE == pytest.approx(knots * NAUTICAL_MILE / 3600 * hours * 3600)


def test_no_product_is_too_long(drive: Drive) -> None:
    """15 times 15 is 225, which eight bits hold: none is cut off."""
    design = drive("speed_time")
    design.put(0xFF)
    assert design.outputs == 225
