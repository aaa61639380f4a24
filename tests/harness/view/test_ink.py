"""A display as ink: whole numbers of strokes, each drawn by its brightness, and words for those who hear the page."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from forelight.harness.boards.segments import STROKES
from forelight.harness.view.display import Lamp
from forelight.harness.view.ink import ends, figure, spoken

LAMPS: dict[str, Lamp] = {"a": 1.0, "b": 0.5, "c": 0.0, "d": None}


def test_each_segment_is_a_stroke_by_its_brightness() -> None:
    strokes = [dict(line.attrib) for line in ElementTree.fromstring(figure(LAMPS, 20))]
    assert [stroke.get("stroke-opacity") for stroke in strokes] == ["1", "0.65", "0.3", None]
    assert [stroke.get("stroke-dasharray") for stroke in strokes] == [None, None, None, "0.02 0.16"]
    assert [stroke["stroke-width"] for stroke in strokes] == ["0.22", "0.22", "0.04", "0.08"]


def test_segments_that_the_board_lacks_are_not_drawn() -> None:
    assert figure({"a": 1.0}, 20).count("<line") == 1


@pytest.mark.parametrize("height", [10.0, 37.5])
def test_the_picture_has_the_height_that_was_asked_for(height: float) -> None:
    picture = ElementTree.fromstring(figure(LAMPS, height, "px"))
    assert picture.attrib["height"] == f"{height:g}px"
    wide, high = map(float, picture.attrib["viewBox"].split()[2:])
    assert float(re.sub("px", "", picture.attrib["width"])) == pytest.approx(height * wide / high, abs=0.01)


def test_it_is_spoken() -> None:
    assert spoken(LAMPS) == "lit: a b; unsettled: d"
    assert spoken({"a": 0.0}) == "dark"
    assert 'aria-label="lit: a b; unsettled: d"' in figure(LAMPS, 20)


@pytest.mark.parametrize("segment", STROKES)
def test_strokes_end_before_they_meet(segment: str) -> None:
    """A stroke is shorter than the distance of its joints by 0.14 at either end; the point is a dot."""
    (x1, y1), (x2, y2) = STROKES[segment]
    left, top, right, bottom = ends(segment)
    length = abs(x2 - x1) + abs(y2 - y1)
    assert abs(right - left) + abs(bottom - top) == pytest.approx(length - 0.28 if length else 0.02)
    assert (left + right, top + bottom) == pytest.approx((x1 + x2, y1 + y2))
