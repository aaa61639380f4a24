"""The watch glass against the watches of a day at sea."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

RATE_HZ = 15
MINUTE = 60 * RATE_HZ
#: First, middle, morning, forenoon, afternoon, and the two dog watches (The Bluejacket's Manual; from memory).
WATCHES_H = [4, 4, 4, 4, 4, 2, 2]
DOG, QUICK = 1 << 0, 1 << 1
# TI SN74247 data sheet: segments a to g of 0 to 4.
FIGURES = {
    int(lit[::-1], 2): figure
    for figure, lit in enumerate(["1111110", "0110000", "1101101", "1111001", "0110011"])
}


def turned(drive: Drive, hours: int, quick: int = 0) -> Driven:
    design = drive("watch_glass")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.switch((DOG if hours == 2 else 0) | quick)
    design.restart()
    return design


def test_the_watches_make_a_day() -> None:
    assert sum(WATCHES_H) == 24


@pytest.mark.parametrize(("quick", "minute"), [(0, MINUTE), (QUICK, 1)])
@pytest.mark.parametrize("hours", sorted(set(WATCHES_H)))
def test_a_watch(drive: Drive, hours: int, quick: int, minute: int) -> None:
    """Hours left, rounded up, at each step; the point for the last ten minutes and after the end."""
    design = turned(drive, hours, quick)
    outputs = np.append(design.now(), design.steps(5 * 60 * minute))
    left_minutes = hours * 60 - np.arange(len(outputs)) / minute
    shown = np.array([FIGURES.get(value, -1) for value in range(128)])[outputs & 0x7F]
    assert np.array_equal(shown, np.ceil(left_minutes / 60).clip(0))
    assert np.array_equal(outputs >> 7 == 1, left_minutes <= 10)


def test_a_dog_watch_chosen_late_is_over(drive: Drive) -> None:
    """Two hours and more of a long watch have gone: a short one would have ended."""
    design = turned(drive, 4, QUICK)
    design.steps(150)
    design.set(i0=1)
    assert FIGURES[design.outputs & 0x7F] == 0
    assert design.outputs >> 7 == 1


def test_from_quick_to_slow(drive: Drive) -> None:
    """After 59 quick minutes the last minute of the hour lasts a minute."""
    design = turned(drive, 4, QUICK)
    design.steps(59)
    design.set(i1=0)
    outputs = design.steps(MINUTE)
    assert [FIGURES[value & 0x7F] for value in outputs[[0, -2, -1]]] == [4, 4, 3]
