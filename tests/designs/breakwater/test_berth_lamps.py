"""Berth lamps against powers of two, for all 256 settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive


def test_all_settings(drive: Drive) -> None:
    """Lamp n is bit n, so the eight as a number are 2 to the power n (binary notation); i4 to i7 do nothing."""
    design = drive("berth_lamps")
    for levels in range(256):
        design.put(levels)
        assert design.outputs == (2 ** (levels % 8) if levels & 8 else 0)
