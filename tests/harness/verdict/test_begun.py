"""Recordings begun before the restart, a few; `python -m tests.harness.verdict.begun` measures many."""

from __future__ import annotations

import pytest
from forelight.harness.verdict.kinds import AGREES, DIFFERS

from tests.harness.verdict.begun import WAYS, measure

DESIGNS = ("tide_gauge", "chart_reader", "berth_number")


@pytest.mark.parametrize("way", WAYS)
def test_what_was_before_the_restart_is_no_difference(way: str) -> None:
    """Seeds 0 and 1: by the usual run, with the restart's line and without it, and by the inputs that were recorded."""
    found = measure(2, 0, DESIGNS, (way,))
    print(found)
    assert found.total() == 2
    assert not any(kind == DIFFERS for _, kind in found)
    assert found[way, AGREES] == sum(count for (kind_of, _), count in found.items() if kind_of == way)
