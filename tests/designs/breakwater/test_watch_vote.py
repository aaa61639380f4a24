"""The vote of three watch-keepers against the median, the full adder's carry and two out of three."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

TOP, UPPER_RIGHT, BOTTOM, UPPER_LEFT, MIDDLE, POINT = 0, 1, 3, 5, 6, 7
KEEPERS = (UPPER_LEFT, TOP, UPPER_RIGHT)  # the segment that points at keeper 0, 1, 2


def lit(outputs: int) -> set[int]:
    return {bit for bit in range(8) if outputs >> bit & 1}


@pytest.mark.parametrize("levels", range(256))
def test_every_input(drive: Drive, levels: int) -> None:
    """The median of three is what most of them say (definition of the median; Python's `statistics`)."""
    design = drive("watch_vote")
    design.put(levels)
    said = [levels >> keeper & 1 for keeper in range(3)]
    vote = int(median(said))
    assert vote == sum(said) // 2  # the carry of a full adder is the majority of its three inputs (textbooks)
    expected = {MIDDLE if vote else BOTTOM}
    expected |= {KEEPERS[keeper] for keeper in range(3) if said[keeper] != vote}
    if len(set(said)) == 1:
        expected.add(POINT)
    assert lit(design.outputs) == expected


@pytest.mark.parametrize("wrong", range(3))
@pytest.mark.parametrize("truth", [0, 1])
def test_one_wrong_keeper_is_outvoted_and_named(drive: Drive, truth: int, wrong: int) -> None:
    """Two out of three: one deviating channel does not change the result (IEC 61508-6, from memory)."""
    design = drive("watch_vote")
    design.put(0b111 * truth ^ 1 << wrong)
    assert lit(design.outputs) == {MIDDLE if truth else BOTTOM, KEEPERS[wrong]}
