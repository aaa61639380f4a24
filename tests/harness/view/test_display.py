"""Drawings of the display as exact strings."""

from __future__ import annotations

import pytest
from forelight.harness.boards.segments import LARGE, SMALL
from forelight.harness.view.display import (
    ASCII,
    LIT,
    UNICODE,
    UNSETTLED_STYLE,
    WINDOW,
    Lamp,
    draw,
    glyph,
    glyphs_for,
    legend,
    shade,
    style,
)
from rich.color import Color
from rich.console import Console

from .srgb import luminance_from_srgb

# TI SN74LS47 and CD4511 data sheets, outputs a to g for 0 to 9 (6 and 9 without tails).
DIGITS = {
    0: "1111110",
    1: "0110000",
    2: "1101101",
    3: "1111001",
    4: "0110011",
    5: "1011011",
    6: "0011111",
    7: "1110000",
    8: "1111111",
    9: "1110011",
}
DRAWN = r"""
 ###   ...   ###   ###   ...   ###   ...   ###   ###   ###
#   # .   # .   # .   # #   # #   . #   . .   # #   # #   #
 ...   ...   ###   ###   ###   ###   ###   ...   ###   ###
#   # .   # #   . .   # .   # .   # #   # .   # #   # .   #
 ###   ...   ###   ###   ...   ###   ###   ...   ###   ...
"""


def test_the_ten_digits_of_the_data_sheets() -> None:
    rows = []
    for row in range(SMALL.height):
        parts = []
        for outputs in DIGITS.values():
            lamps: dict[str, Lamp] = {
                segment: float(level) for segment, level in zip("abcdefg", outputs, strict=True)
            }
            parts.append(draw(lamps, SMALL, ASCII)[row].plain[:5])
        rows.append(" ".join(parts).rstrip())
    assert "\n".join(rows) == DRAWN.strip("\n")


MIXED: dict[str, Lamp] = {"a": 1, "b": 0.3, "c": None, "d": 0.6, "e": 0.2, "f": 0.8, "g": 0, "point": 1}


def test_large_with_shades_and_an_unsettled_segment() -> None:
    assert [line.plain for line in draw(MIXED, LARGE, UNICODE)] == [
        "  ██████     ",
        "██      ▒▒   ",
        "██      ▒▒   ",
        "  ······     ",
        "░░      ??   ",
        "░░      ??   ",
        "  ▓▓▓▓▓▓   ██",
    ]


def test_small_in_ascii() -> None:
    assert [line.plain for line in draw(MIXED, SMALL, ASCII)] == [
        " ###   ",
        "#   +  ",
        " ...   ",
        ":   ?  ",
        " ***  #",
    ]


def test_a_segment_without_a_wire_is_not_drawn() -> None:
    assert [line.plain for line in draw({"g": 1.0}, SMALL, UNICODE)] == [
        "       ",
        "       ",
        " ███   ",
        "       ",
        "       ",
    ]


def test_every_lamp_state_has_a_character_of_its_own() -> None:
    states: list[Lamp] = [0, 0.001, 0.26, 0.51, 1, None]
    for glyphs in (UNICODE, ASCII):
        assert len({glyph(state, glyphs) for state in states}) == len(states)


@pytest.mark.parametrize(
    ("lamp", "expected"),
    [(0, 0), (1e-3, 1), (0.25, 1), (0.2501, 2), (0.5, 2), (0.75, 3), (0.76, 4), (1, 4), (1.5, 4), (-1, 0)],
)
def test_shades_change_at_the_quarters(lamp: float, expected: int) -> None:
    assert shade(lamp) == expected


@pytest.mark.parametrize("lamp", [0.05, 0.25, 0.3, 0.5, 0.7, 1.0])
def test_character_cover_times_colour_gives_the_luminance(lamp: float) -> None:
    # A character that covers n quarters of its cell in a colour of luminance y gives off n/4 * y.
    colour = style(lamp).color
    step = shade(lamp)
    assert colour is not None and colour.triplet is not None and step is not None
    for level, full in zip(colour.triplet, LIT, strict=True):
        assert step / 4 * luminance_from_srgb(level) == pytest.approx(lamp * full, abs=0.005)


def test_unsettled_has_a_style_of_its_own() -> None:
    assert style(None) == UNSETTLED_STYLE


@pytest.mark.parametrize(
    ("encoding", "expected"),
    [
        ("utf-8", UNICODE),
        ("cp437", ASCII),
        ("latin-1", ASCII),
        ("ascii", ASCII),
        ("no such", ASCII),
        (None, ASCII),
    ],
)
def test_characters_fit_the_encoding(encoding: str | None, expected: object) -> None:
    assert glyphs_for(encoding) is expected


def test_legend_names_only_what_is_there() -> None:
    assert legend([0, 4], UNICODE) == "· dark, █ lit"
    assert legend([None, 2, 1, 3, 0, 4], ASCII) == (
        ". dark, : up to a quarter, + up to half, * up to three quarters, # lit, ? unsettled"
    )


def test_light_is_seen_against_the_dark_on_any_ground() -> None:
    """Each character of a drawing, the empty ones too, lies on the display's own ground."""
    for line in draw({"a": 1.0, "b": 0.0, "g": None}, SMALL, UNICODE):
        console = Console(color_system="truecolor", force_terminal=True, width=40)
        (cells,) = console.render_lines(line, pad=False)
        drawn = [segment for segment in cells if segment.text]
        assert sum(len(segment.text) for segment in drawn) == SMALL.width
        assert all(one.style and one.style.bgcolor == Color.parse(WINDOW) for one in drawn)
