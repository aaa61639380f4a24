"""A display as strokes of ink on paper: lit is black, dark a thin outline, half lit grey, unsettled dashed."""

from __future__ import annotations

from collections.abc import Mapping

from ..boards.segments import STROKES
from .display import Lamp

#: The figure's margins, and by how much strokes end before they meet, in units of its width.
_MARGIN, _JOINT = 0.28, 0.14
_WIDE, _HIGH = 1.5 + 2 * _MARGIN, 2 + 2 * _MARGIN


def figure(lamps: Mapping[str, Lamp], height: float, unit: str = "mm") -> str:
    """The display as an SVG picture of this height; `lamps` maps a segment to its brightness, 0 to 1, or None."""
    strokes = "".join(_stroke(segment, lamps[segment]) for segment in STROKES if segment in lamps)
    width = height * _WIDE / _HIGH
    frame = f"{-_MARGIN:g} {-_MARGIN:g} {_WIDE:g} {_HIGH:g}"
    return (
        f'<svg class="figure" width="{width:.2f}{unit}" height="{height:g}{unit}" viewBox="{frame}" role="img" '
        f'aria-label="{spoken(lamps)}">{strokes}</svg>'
    )


def spoken(lamps: Mapping[str, Lamp]) -> str:
    """The segments that are lit, in words, for those who hear the page."""
    lit = [name for name, lamp in lamps.items() if lamp]
    vague = [name for name, lamp in lamps.items() if lamp is None]
    said = f"lit: {' '.join(lit)}" if lit else "dark"
    return said + (f"; unsettled: {' '.join(vague)}" if vague else "")


def ends(segment: str) -> tuple[float, float, float, float]:
    """Where the stroke of a segment begins and ends, `x1, y1, x2, y2`: a little before the joints."""
    (x1, y1), (x2, y2) = STROKES[segment]
    if (x1, y1) == (x2, y2):
        return x1 - 0.01, y1, x2 + 0.01, y2
    if y1 == y2:
        return x1 + _JOINT, y1, x2 - _JOINT, y2
    return x1, y1 + _JOINT, x2, y2 - _JOINT


def _stroke(segment: str, lamp: Lamp) -> str:
    x1, y1, x2, y2 = ends(segment)
    place = f'x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}" stroke-linecap="round"'
    if lamp is None:
        return f'<line {place} stroke="currentColor" stroke-width="0.08" stroke-dasharray="0.02 0.16"/>'
    if not lamp:
        return f'<line {place} stroke="currentColor" stroke-opacity="0.3" stroke-width="0.04"/>'
    return (
        f'<line {place} stroke="currentColor" stroke-opacity="{0.3 + 0.7 * lamp:.2g}" stroke-width="0.22"/>'
    )
