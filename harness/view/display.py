"""A seven-segment display as lines of characters: brightness is told by the character, and by colour too."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil

import numpy as np
from forelight.sim.frozen import frozen
from numpy.typing import NDArray
from rich.style import Style
from rich.text import Text

from ..boards.segments import Size, cells
from .brightness import srgb_from_luminance

#: Brightness of one lamp, 0 to 1, or None where nothing can be foretold.
Lamp = float | None

#: A lit lamp's colour as linear light, red, green and blue: a warm white, as of a lamp seen across water.
LIT = (1.0, 0.74, 0.36)
#: The display's own ground: light is seen against the dark, whatever the screen's colours are.
WINDOW = "#17130f"
WINDOW_STYLE = Style(bgcolor=WINDOW)
UNLIT_STYLE = Style(color="#94897b")
UNSETTLED_STYLE = Style(color="cyan", bold=True)


@frozen
class Glyphs:
    """The characters of a drawing: a lamp unlit, in four shades of lit, and unsettled; and a few signs."""

    unlit: str
    shades: str
    unsettled: str
    more: str


#: Each shade covers a quarter more of its cell than the one before.
UNICODE = Glyphs(unlit="·", shades="░▒▓█", unsettled="?", more="…")
ASCII = Glyphs(unlit=".", shades=":+*#", unsettled="?", more="...")


def glyphs_for(encoding: str | None) -> Glyphs:
    """The drawing characters that this text encoding can carry."""
    try:
        "".join(vars(UNICODE).values()).encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return UNICODE


def shade(lamp: Lamp) -> int | None:
    """0 for unlit, 1 to 4 for up to so many quarters of full brightness; None for unsettled."""
    return None if lamp is None else ceil(min(max(lamp, 0.0), 1.0) * 4 - 1e-6)


def shades_of(levels: NDArray[np.float64]) -> NDArray[np.int64]:
    """The same of many lamps, none of them unsettled."""
    return np.ceil(np.clip(levels, 0.0, 1.0) * 4 - 1e-6).astype(np.int64)


def glyph(lamp: Lamp, glyphs: Glyphs) -> str:
    """The one character for a lamp."""
    step = shade(lamp)
    if step is None:
        return glyphs.unsettled
    return glyphs.shades[step - 1] if step else glyphs.unlit


def style(lamp: Lamp) -> Style:
    """The colour for a lamp: with the cover of its character it is as bright as the lamp."""
    step = shade(lamp)
    if lamp is None or step is None:
        return UNSETTLED_STYLE
    if not step:
        return UNLIT_STYLE
    return Style(color=colour(lamp / (step / 4)))


def colour(light: float) -> str:
    """The screen colour of a lamp that has this share (0 to 1) of its full light, as `#rrggbb`."""
    red, green, blue = (srgb_from_luminance(part * light) for part in LIT)
    return f"#{red:02x}{green:02x}{blue:02x}"


def draw(lamps: Mapping[str, Lamp], size: Size, glyphs: Glyphs) -> list[Text]:
    """Draw a display, `size.height` lines of `size.width` columns.

    `lamps` maps a segment (`a` to `g`, `point`) to its brightness; a segment that is not wired is not drawn.
    """
    grid: list[list[Lamp | str]] = [[" "] * size.width for _ in range(size.height)]
    for segment, places in cells(size).items():
        if segment in lamps:
            for row, column in places:
                grid[row][column] = lamps[segment]
    return [_line(row, glyphs) for row in grid]


def _line(row: Sequence[Lamp | str], glyphs: Glyphs) -> Text:
    line = Text(style=WINDOW_STYLE, no_wrap=True, overflow="crop")
    for cell in row:
        if isinstance(cell, str):
            line.append(cell)
        else:
            line.append(glyph(cell, glyphs), style(cell))
    return line


def legend(shades: Sequence[int | None], glyphs: Glyphs) -> str:
    """Explain the characters that a drawing uses; `shades` are the values of `shade` that occur in it."""
    words = {0: "dark", 1: "up to a quarter", 2: "up to half", 3: "up to three quarters", 4: "lit"}
    parts = [
        f"{glyphs.unlit if not step else glyphs.shades[step - 1]} {words[step]}"
        for step in words
        if step in shades
    ]
    if None in shades:
        parts.append(f"{glyphs.unsettled} unsettled")
    return ", ".join(parts)
