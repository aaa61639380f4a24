"""Two holds against addition, for every pair of numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive


@pytest.mark.parametrize("fore", range(16))
def test_every_sum(drive: Drive, fore: int) -> None:
    """Python's own addition is the judge."""
    design = drive("two_holds")
    for aft in range(16):
        design.put(fore | aft << 4)
        assert design.outputs == fore + aft
