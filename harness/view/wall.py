"""The displays of many slots side by side: at one moment as characters, or all in motion as an SVG picture."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from html import escape

import numpy as np
from forelight.sim.frozen import frozen
from rich.text import Text

from ..boards.segments import SMALL
from . import motion
from .display import Glyphs, draw
from .eye import Impressions
from .filmstrip import GUTTER, side_by_side
from .flashing import Flashing, worst
from .pictures import Picture, display_lamps, level_text

#: Columns of a pane: a display, or its name, which is cut where it is longer.
COLUMNS = 11
HELD = "held still"


@frozen
class Pane:
    """The display of one slot: its pictures as `live.plan` lists them, over `lasts_s` seconds.

    `sight` is what the eye makes of it; `code` a strap code that would make it readable, where that is wanted and
    known; `once` and `again` say how much it flashes when it is played once, or over and over.
    """

    slot: int
    name: str
    title: str
    shots: tuple[tuple[float, Picture], ...]
    lasts_s: float
    sight: Impressions
    once: Flashing
    again: Flashing
    code: int | None = None

    @property
    def kind(self) -> str:
        return self.sight.display.kind

    def at(self, second: float) -> Picture:
        return self.shots[max(0, bisect_right(self.shots, second, key=lambda shot: shot[0]) - 1)][1]


def together(panes: Sequence[Pane]) -> Flashing:
    """How much the panes flash as a whole: each may keep to the limit, and all in step may not."""
    times = np.unique([when for pane in panes for when, _ in pane.shots] or [0.0])
    total = np.zeros(len(times))
    for pane in panes:
        levels = [np.mean([0.5 if lamp is None else lamp for lamp in shot.lamps]) for _, shot in pane.shots]
        starts = [when for when, _ in pane.shots]
        total += np.array(levels)[np.searchsorted(starts, times, side="right") - 1]
    return worst(times, {"the wall as a whole": total / max(len(panes), 1)}, 1.0)


def across(width: int) -> int:
    """How many panes stand beside each other in so many columns."""
    return max(1, (width + GUTTER) // (COLUMNS + GUTTER))


def rows(wiring: Mapping[str, str]) -> int:
    """Rows of a line of panes, the empty one between two lines included."""
    return (SMALL.height if wiring else 1) + 4


def drawn(
    panes: Sequence[Pane],
    second: float,
    wiring: Mapping[str, str],
    *,
    width: int,
    glyphs: Glyphs,
    held: Sequence[int] = (),
) -> list[Text]:
    """The panes at a moment, each under the number of its slot, over its name and what the eye makes of it.

    Those in `held`, by their slot, stay at their first picture and say so.
    """
    frames = []
    for pane in panes:
        still = pane.slot in held
        lamps = pane.at(0 if still else second).lamps
        picture = draw(display_lamps(lamps, wiring), SMALL, glyphs) if wiring else []
        frames.append(
            [
                Text(str(pane.slot).ljust(COLUMNS), style="bold"),
                *(picture or [Text(level_text(lamps, glyphs))]),
                Text(_cut(pane.name, glyphs)),
                Text(HELD if still else pane.kind, style="dim"),
            ]
        )
    return side_by_side(frames, width)


def _cut(name: str, glyphs: Glyphs) -> str:
    return name if len(name) <= COLUMNS else name[: COLUMNS - len(glyphs.more)] + glyphs.more


#: Size of a pane in a picture, and how many stand beside each other; the display is drawn this large.
_WIDE, _HIGH, _ACROSS, _SCALE = 132, 168, 8, 42
_STYLE = "text{fill:currentColor;font:12px sans-serif;text-anchor:middle}.kind{fill-opacity:.75}"


def pane_svg(pane: Pane, wiring: Mapping[str, str], *, held: bool) -> tuple[str, str]:
    """Rules of style and shapes of one pane, in a space of `PANE`; one that is held does not move."""
    shots = pane.shots[:1] if held else pane.shots
    rules, shapes = motion.display(f"s{pane.slot}", shots, pane.lasts_s, wiring)
    left = (_WIDE - motion.WIDE * _SCALE) / 2
    below = motion.HIGH * _SCALE + 4
    return rules, (
        f"<title>{escape(pane.title)}</title>"
        f'<g transform="translate({left:g} 4) scale({_SCALE})">{shapes}</g>'
        f'<text x="{_WIDE / 2:g}" y="{below + 16:g}">{pane.slot} {escape(pane.name)}</text>'
        f'<text class="kind" x="{_WIDE / 2:g}" y="{below + 31:g}">{HELD if held else pane.kind}</text>'
    )


def as_svg(title: str, panes: Sequence[Pane], wiring: Mapping[str, str], held: Sequence[int]) -> str:
    """All panes in one picture, which plays over and over but for those in `held`."""
    count = min(_ACROSS, len(panes))
    rules, shapes = [_STYLE], []
    for number, pane in enumerate(panes):
        style, body = pane_svg(pane, wiring, held=pane.slot in held)
        rules.append(style)
        row, column = divmod(number, count)
        shapes.append(f'<g transform="translate({column * _WIDE} {row * _HIGH})">{body}</g>\n')
    wide, high = count * _WIDE, -(-len(panes) // count) * _HIGH
    return motion.picture(title, "".join(rules), wide, high, "".join(shapes))


def as_html(
    title: str, panes: Sequence[Pane], wiring: Mapping[str, str], held: Sequence[int], said: Sequence[str]
) -> str:
    """The same as a page, whose lines of panes are as long as its window is wide, with sentences below."""
    rules, shapes = [], []
    for pane in panes:
        style, body = pane_svg(pane, wiring, held=pane.slot in held)
        rules.append(style)
        shapes.append(f'<svg width="{_WIDE}" height="{_HIGH}" viewBox="0 0 {_WIDE} {_HIGH}">{body}</svg>\n')
    below = "".join(f"<p>{escape(sentence)}</p>\n" for sentence in said)
    return motion.document(
        title,
        _STYLE + "".join(rules),
        f'<h1>{escape(title)}</h1>\n<div class="wall">{"".join(shapes)}</div>\n{below}',
    )
