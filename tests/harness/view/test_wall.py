"""The wall: panes side by side at 40, 80 and 120 columns, what is held still, and the picture of all."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable

import pytest
from forelight.harness.boards.segments import SEGMENTS
from forelight.harness.golden.golden import Golden
from forelight.harness.view.display import ASCII, UNICODE
from forelight.harness.view.eye import impressions
from forelight.harness.view.flashing import flashing
from forelight.harness.view.live import plan
from forelight.harness.view.motion import over_and_over
from forelight.harness.view.wall import Pane, across, as_html, as_svg, drawn, rows, together

MakeGolden = Callable[..., Golden]
WIRING = {f"o{line}": segment for line, segment in enumerate(SEGMENTS)}


def pane(slot: int, name: str, golden: Golden) -> Pane:
    shots, lasts = tuple(plan(golden)), golden.end / golden.oscillator_hz
    flash, again = flashing(golden), over_and_over(golden)
    return Pane(slot, name, name.title(), shots, lasts, impressions(golden), flash, again)


@pytest.fixture
def panes(make_golden: MakeGolden) -> list[Pane]:
    """A digit that changes once, one that is unsettled, one that flashes too much, and five that stand still."""
    flashing_one = make_golden([(n * 100, n % 2 * 0x7F) for n in range(20)], 2000)
    return [
        pane(3, "berth", make_golden([(0, 0x06), (1000, 0x5B)], 2000)),
        pane(9, "long_name_of_a_buoy", make_golden([(0, 0, 0xFF)], 2000)),
        pane(101, "lamp", flashing_one),
        *(pane(number, f"slot_{number}", make_golden([(0, 0x3F)], 2000)) for number in range(110, 115)),
    ]


def text(panes: list[Pane], second: float, width: int, **more: object) -> list[str]:
    options = {"glyphs": UNICODE} | more
    return [line.plain.rstrip() for line in drawn(panes, second, WIRING, width=width, **options)]  # type: ignore[arg-type]


FORTY = """\
3            9            101
 ···          ???          ···
·   █        ?   ?        ·   ·
 ···          ???          ···
·   █        ?   ?        ·   ·
 ···  ·       ???  ?       ···  ·
berth        long_name_…  lamp
readable     unsettled    held still

110          111          112
 ███          ███          ███
█   █        █   █        █   █
 ···          ···          ···
█   █        █   █        █   █
 ███  ·       ███  ·       ███  ·
slot_110     slot_111     slot_112
steady       steady       steady

113          114
 ███          ███
█   █        █   █
 ···          ···
█   █        █   █
 ███  ·       ███  ·
slot_113     slot_114
steady       steady"""

EIGHTY = """\
3            9            101          110          111          112
 ███          ???          ···          ███          ███          ███
·   █        ?   ?        ·   ·        █   █        █   █        █   █
 ███          ???          ···          ···          ···          ···
█   ·        ?   ?        ·   ·        █   █        █   █        █   █
 ███  ·       ???  ?       ···  ·       ███  ·       ███  ·       ███  ·
berth        long_name_…  lamp         slot_110     slot_111     slot_112
readable     unsettled    held still   steady       steady       steady

113          114
 ███          ███
█   █        █   █
 ···          ···
█   █        █   █
 ███  ·       ███  ·
slot_113     slot_114
steady       steady"""

HUNDRED_AND_TWENTY = """\
3            9            101          110          111          112          113          114
 ###          ???          ###          ###          ###          ###          ###          ###
.   #        ?   ?        #   #        #   #        #   #        #   #        #   #        #   #
 ###          ???          ###          ...          ...          ...          ...          ...
#   .        ?   ?        #   #        #   #        #   #        #   #        #   #        #   #
 ###  .       ???  ?       ###  .       ###  .       ###  .       ###  .       ###  .       ###  .
berth        long_nam...  lamp         slot_110     slot_111     slot_112     slot_113     slot_114
readable     unsettled    flickering   steady       steady       steady       steady       steady"""


def test_the_wall_at_three_widths(panes: list[Pane]) -> None:
    assert "\n".join(text(panes, 0.5, 40, held=[101])) == FORTY
    assert "\n".join(text(panes, 1.5, 80, held=[101])) == EIGHTY
    assert "\n".join(text(panes, 1.94, 120, glyphs=ASCII)) == HUNDRED_AND_TWENTY
    for width in (40, 80, 120):
        assert max(map(len, text(panes, 1, width))) <= width


def test_how_many_fit(panes: list[Pane]) -> None:
    for width in (5, 40, 80, 120):
        lines = text(panes, 0, width)
        assert len([word for word in lines[0].split() if word]) == min(across(width), len(panes))
        assert len(lines) + 1 == rows(WIRING) * -(-len(panes) // across(width))


def test_without_a_display_the_levels_stand_alone(panes: list[Pane]) -> None:
    lines = [line.plain.rstrip() for line in drawn(panes[:2], 1.5, {}, width=40, glyphs=UNICODE)]
    assert lines == [
        "3            9",
        "01011011     ????????",
        "berth        long_name_…",
        "readable     unsettled",
    ]
    assert len(lines) + 1 == rows({})


def test_panes_that_flash_in_turn_flash_as_a_whole(make_golden: MakeGolden) -> None:
    def blips(first: int) -> Golden:
        """Three short flashes in a second, which is allowed."""
        starts = [first + 334 * n for n in range(6)]
        return make_golden(
            [(0, 0), *((at + 120 * off, 0xFF * (1 - off)) for at in starts for off in (0, 1))], 2100
        )

    one, other = pane(0, "one", blips(10)), pane(1, "other", blips(177))
    assert not one.once.too_much and not other.once.too_much
    assert together([one, one]).flashes == one.once.flashes == 3
    assert together([one, other]).flashes == 6
    assert together([]).flashes == 0


def test_the_jump_back_to_the_beginning_counts(make_golden: MakeGolden) -> None:
    # Three flashes in the first second, and one change more where all begins again.
    golden = make_golden([(0, 0xFF), *((100 + n * 140, n % 2 * 0xFF) for n in range(6)), (1500, 0)], 3000)
    assert flashing(golden).flashes == 3
    assert over_and_over(golden).flashes == 3.5


def test_the_picture_holds_each_pane_and_moves_what_is_not_held(panes: list[Pane]) -> None:
    drawn_as_text = as_svg("Wall <1>", panes, WIRING, [101])
    root = ET.fromstring(drawn_as_text)
    words = ["".join(one.itertext()) for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert words[:2] == ["3 berth", "readable"]
    assert words[4:6] == ["101 lamp", "held still"]
    moving = {name for name in ("s3-0", "s101-0") if f"@keyframes {name}" in drawn_as_text}
    assert moving == {"s3-0"}
    assert "script" not in drawn_as_text


def test_the_page_says_what_it_shows(panes: list[Pane]) -> None:
    page = as_html("Wall <1>", panes, WIRING, [101], ["Mind <this>."])
    assert page.count("<svg") == len(panes)
    assert "<h1>Wall &lt;1&gt;</h1>" in page
    assert "<p>Mind &lt;this&gt;.</p>" in page
    assert "prefers-reduced-motion" in page
