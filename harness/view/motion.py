"""Displays that move as pictures in a file: SVG whose style sheet plays a plan, at true speed, over and over.

What flashes too much begins only on request (a link in the picture), and for readers who want less motion nothing
moves. No program runs in such a picture.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from html import escape

import numpy as np

from ..golden.golden import Golden
from .display import WINDOW, Lamp, colour
from .flashing import Flashing, flashing
from .ink import ends, spoken
from .pictures import Picture, display_lamps

#: How long the last picture stays before all begins again: so the jump back is no flash among others.
REST_S = 2.0
#: The window behind the lamps is as dark as a display that is off, whatever the page around it: lamps then look lit.
UNLIT, UNSETTLED = "#3d352c", "#4fc3d9"
#: Ink on light ground and on dark, and the rule for those who have the latter.
INK, CHALK, DARK = "#1a1a1a", "#e8e8e8", "@media (prefers-color-scheme:dark){{{}}}"
#: Size of a display with its window, in the units of its picture.
WIDE, HIGH = 2.3, 2.9
_LEFT, _TOP = 0.45, 0.45
#: Where there is no display: the eight levels in a row, o7 first.
_DOTS = {f"o{line}": (0.02 + 0.24 * (7 - line), 1.0) for line in range(8)}
STYLE = (
    "@media (prefers-reduced-motion:reduce){.lamp,.now{animation:none!important}}"
    ".held .lamp,.held .now{animation-play-state:paused}"
    ".held:target .lamp,.held:target .now{animation-play-state:running}"
)


def over_and_over(golden: Golden, speed: float = 1.0) -> Flashing:
    """How much a golden flashes that rests at its end and begins again."""
    whole = golden.end + int(np.ceil(REST_S * speed * golden.oscillator_hz))
    twice = replace(
        golden,
        ticks=np.concatenate([golden.ticks, golden.ticks + whole]),
        outputs=np.tile(golden.outputs, 2),
        proved=np.tile(golden.proved, 2),
        sampled=np.tile(golden.sampled, 2),
        end=whole + golden.end,
    )
    return flashing(twice, speed)


def display(
    name: str, shots: Sequence[tuple[float, Picture]], lasts_s: float, wiring: Mapping[str, str]
) -> tuple[str, str]:
    """A display that plays: rules of style, and shapes in a space of `WIDE` by `HIGH`.

    `name` is a word of its own in the document; `shots` are as `live.plan` lists them, for a run of `lasts_s` seconds.
    """
    lines = {segment: int(line[1:]) for line, segment in wiring.items()} or {
        name: int(name[1:]) for name in _DOTS
    }
    rules: list[str] = []
    shapes = []
    for place, line in lines.items():
        lamps = [(when, shot.lamps[line]) for when, shot in shots]
        shapes.append(_lamp(place, f"{name}-{line}", lamps[0][1]))
        rules.extend(_rule(f"{name}-{line}", lamps, lasts_s + REST_S))
    said = spoken(display_lamps(shots[0][1].lamps, wiring or {line: line for line in _DOTS}))
    return "".join(rules), (
        f'<g role="img" aria-label="{escape(said)}">'
        f'<rect width="{WIDE}" height="{HIGH}" rx="0.2" fill="{WINDOW}"/>'
        f'<g transform="translate({_LEFT} {_TOP})" fill="none" stroke-linecap="round" stroke-width="0.22">'
        f"{''.join(shapes)}</g></g>"
    )


def _lamp(place: str, name: str, lamp: Lamp) -> str:
    if place in _DOTS:
        x, y = _DOTS[place]
        where = f'x1="{x - 0.01:g}" y1="{y:g}" x2="{x + 0.01:g}" y2="{y:g}" stroke-width="0.16"'
    else:
        x1, y1, x2, y2 = ends(place)
        where = f'x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}"'
    return f'<line class="lamp {name}" {where} style="{_look(lamp)}"/>'


def _look(lamp: Lamp) -> str:
    """The style of a lamp: its colour, and dashes where nothing can be foretold."""
    if lamp is None:
        return f"stroke:{UNSETTLED};stroke-dasharray:.02 .26"
    return f"stroke:{colour(lamp) if lamp else UNLIT};stroke-dasharray:none"


def _rule(name: str, lamps: Sequence[tuple[float, Lamp]], lasts_s: float) -> Iterator[str]:
    """The changes of one lamp, held between them; nothing for one that stays as it is."""
    changes = [
        now for before, now in zip([(0.0, "none"), *lamps], lamps, strict=False) if before[1] != now[1]
    ]
    if len(changes) < 2:
        return
    frames = "".join(f"{when / lasts_s:.5%}{{{_look(lamp)}}}" for when, lamp in changes)
    yield f"@keyframes {name}{{{frames}}}.{name}{{animation:{name} {lasts_s:.3f}s step-end infinite}}"


def picture(title: str, style: str, wide: int, high: int, body: str) -> str:
    """A picture that moves as a file of its own; it brings its ground, light or dark as the reader has it."""
    margin, ground = 14, "#fff"
    frame = f'x="{-margin}" y="{-margin}" width="{wide + 2 * margin}" height="{high + 2 * margin}"'
    rules = f"svg{{color:{INK}}}.ground{{fill:{ground}}}" + DARK.format(
        f"svg{{color:{CHALK}}}.ground{{fill:#121212}}"
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide + 2 * margin}" height="{high + 2 * margin}" '
        f'viewBox="{-margin} {-margin} {wide + 2 * margin} {high + 2 * margin}">\n<title>{escape(title)}</title>\n'
        f'<style>{rules}{STYLE}{style}</style>\n<rect class="ground" {frame}/>\n{body}</svg>\n'
    )


def document(title: str, style: str, body: str) -> str:
    """A page around pictures that move, readable on light and dark ground."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(title)}</title>\n<style>{_PAGE}{STYLE}{style}</style>\n</head>\n<body>\n"
        f"{body}</body>\n</html>\n"
    )


_PAGE = (
    f"svg{{color:{INK}}}" + DARK.format(f"svg{{color:{CHALK}}}") + ":root{color-scheme:light dark}"
    "body{font:1rem/1.45 sans-serif;max-width:76rem;margin:1.5rem auto;padding:0 1rem}"
    "h1{font-size:1.4rem}p{max-width:44rem;margin:.4rem 0}svg{max-width:100%;height:auto}"
    ".wall{display:flex;flex-wrap:wrap}.pictures{gap:.8rem 1.2rem}"
    "figure{margin:0;text-align:center}figcaption{font-size:.8rem}pre{overflow-x:auto;font-size:.8rem;line-height:1.25}"
)
