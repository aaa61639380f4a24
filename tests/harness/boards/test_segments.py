"""The stroke table: raster cells, and the digits of the trade drawn with it."""

from __future__ import annotations

import doctest
from importlib import import_module

import pytest
from forelight.harness.boards.segments import LARGE, SEGMENTS, SMALL, STROKES, Size, cells


def test_examples_in_the_docstrings_hold() -> None:
    result = doctest.testmod(import_module("forelight.harness.boards.segments"))
    assert result.attempted > 0
    assert result.failed == 0


@pytest.mark.parametrize("size", [SMALL, LARGE, Size(bar=1, post=1, thick=1), Size(bar=4, post=3, thick=2)])
def test_cells_of_different_segments_never_overlap_and_stay_inside(size: Size) -> None:
    places = [place for segment in cells(size).values() for place in segment]
    assert len(places) == len(set(places)) == 3 * size.bar + 4 * size.post * size.thick + size.thick
    assert {row for row, _ in places} == set(range(size.height))
    assert max(column for _, column in places) == size.width - 1


def test_strokes_follow_the_letters_of_the_trade() -> None:
    # TI SN74LS47 data sheet, segment identification: a top, b upper right, c lower right, d bottom, e lower
    # left, f upper left, g middle.
    middles = {name: ((p[0] + q[0]) / 2, (p[1] + q[1]) / 2) for name, (p, q) in STROKES.items()}
    assert middles["a"][1] < middles["g"][1] < middles["d"][1]
    assert middles["f"][0] < middles["a"][0] < middles["b"][0]
    assert middles["f"][1] == middles["b"][1] < middles["e"][1] == middles["c"][1]
    assert SEGMENTS == ("a", "b", "c", "d", "e", "f", "g", "point")
