"""One prediction as a picture that moves: the display beside what is said of it, over the levels of its lines."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from html import escape

from forelight.sim.frozen import frozen

from ..golden.golden import Golden
from . import motion
from .pictures import Picture
from .stave import columns, shapes
from .words import seconds

#: Sizes in the units of the picture: the whole, the display, a line of text, a row of levels and where it begins.
_WIDE, _SCALE, _LINE, _ROW, _FROM = 720, 78, 17, 17, 210
#: Characters that fit beside the display, and beside a row of levels; columns of levels, and their height.
_TEXT, _NAME, _COLUMNS, _UNITS = 70, 27, 500, 3.0
#: A word of its own in any page.
PLAYS = "forelight-plays"
STYLE = (
    "text{fill:currentColor;font:13px sans-serif}.head{font:bold 17px sans-serif}.small{font-size:12px}"
    "a text{text-decoration:underline;font-weight:bold}"
)


@frozen
class Scene:
    """What the picture shows: `shots` as `live.plan` lists them for `lasts_s` seconds, and the golden they are of.

    `lines` maps those that get a row of levels to the words beside it. With a `caution` it begins only on request.
    """

    title: str
    where: str
    said: Sequence[str]
    golden: Golden
    shots: Sequence[tuple[float, Picture]]
    lasts_s: float
    wiring: Mapping[str, str]
    lines: Mapping[str, str]
    caution: str = ""


def as_svg(scene: Scene) -> str:
    """The picture as a file of its own."""
    rules, high, body = _parts(scene)
    return motion.picture(scene.title, STYLE + rules, _WIDE, high, body)


def as_html(scene: Scene, rest: str) -> str:
    """The picture in a page, with `rest`, which is HTML, below."""
    rules, high, body = _parts(scene)
    picture = (
        f'<svg class="scene" width="{_WIDE}" height="{high}" viewBox="0 0 {_WIDE} {high}">\n{body}</svg>\n'
    )
    return motion.document(scene.title, STYLE + rules, picture + rest)


def _parts(scene: Scene) -> tuple[str, int, str]:
    """Rules of style, the height, and the shapes."""
    rules, display = motion.display("lamp", scene.shots, scene.lasts_s, scene.wiring)
    words = [_text(_FROM, 22, scene.title, "head"), _text(_FROM, 42, scene.where, "small")]
    at = 64
    for paragraph in filter(None, [*scene.said, scene.caution]):
        for line in textwrap.wrap(paragraph, _TEXT):
            words.append(_text(_FROM, at, line))
            at += _LINE
        at += _LINE // 2
    if scene.caution:
        words.append(f'<a href="#{PLAYS}">{_text(_FROM, at, "Start it all the same")}</a>')
        words.append(f'<a href="#">{_text(_FROM + 190, at, "Hold it still")}</a>')
        at += _LINE
    top = max(round(motion.HIGH * _SCALE), at) + 16
    moves, levels = _levels(scene, top)
    held = ' class="held"' if scene.caution else ""
    high = top + _ROW * len(scene.lines) + 24
    body = f'<g id="{PLAYS}"{held}>\n<g transform="scale({_SCALE})">{display}</g>\n{levels}</g>\n{"".join(words)}\n'
    return rules + moves, high, body


def _levels(scene: Scene, top: int) -> tuple[str, str]:
    """The levels over the whole run, with a mark that goes along as the display plays."""
    scale = (_WIDE - _FROM) / _COLUMNS
    out = []
    for number, (line, name) in enumerate(scene.lines.items()):
        y = top + number * _ROW
        drawn = shapes(columns(scene.golden, line, _COLUMNS), _COLUMNS / 4, _UNITS)
        short = name if len(name) <= _NAME else name[: _NAME - 1].rstrip() + "…"
        out.append(_text(0, y + 11, short, "small"))
        out.append(f'<g transform="translate({_FROM} {y}) scale({4 * scale:g} 4)">{drawn}</g>\n')
    below = top + len(scene.lines) * _ROW + 14
    end = seconds(scene.golden.end / scene.golden.oscillator_hz)
    out.append(_text(_FROM, below, "0 s", "small"))
    out.append(f'<text class="small" x="{_WIDE}" y="{below}" text-anchor="end">{end}</text>')
    if len(scene.shots) < 2:
        return "", "".join(out)
    whole = scene.lasts_s + motion.REST_S
    along = f"translateX({_WIDE - _FROM}px)"
    rule = (
        f"@keyframes now{{0%{{transform:none}}{scene.lasts_s / whole:.5%}{{transform:{along}}}to{{transform:{along}}}}}"
        f".now{{animation:now {whole:.3f}s linear infinite}}"
    )
    mark = (
        f'<path class="now" d="M{_FROM} {top - 4}V{below - 12}" stroke="currentColor" stroke-opacity="0.6"/>'
    )
    return rule, "".join(out) + mark


def _text(x: float, y: float, words: str, kind: str = "") -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text{named} x="{x:g}" y="{y:g}">{escape(words)}</text>\n'
