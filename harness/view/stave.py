"""Lines over time, drawn small: each column is low, high, on the move or open, as characters or as strokes of ink."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np
from forelight.sim.frozen import frozen
from numpy.typing import NDArray

from ..golden.golden import Golden

#: What a line does in one column of a drawing.
LOW, HIGH, MOVES, OPEN = range(4)
#: So many levels in a row, each shorter than so many columns, are drawn as one band.
MANY, CROWDED = 3, 1.5


@frozen
class StaveGlyphs:
    """One character for each of low, high, on the move and open."""

    characters: str


BLOCKS = StaveGlyphs("▁▔▒?")
PLAIN = StaveGlyphs("_-#?")


def columns(golden: Golden, line: str, count: int) -> list[int]:
    """What a line of a golden (`i0` to `i7`, `o0` to `o7`) does in each of `count` equal parts of its time.

    As `between`; and changes that follow each other closely are on the move.
    """
    bounds = np.linspace(0, golden.end, count + 1)
    found = np.array(between(golden, line, bounds))
    found[_crowded(_changes(golden, line)[0], bounds) & (found != OPEN)] = MOVES
    drawn: list[int] = found.tolist()
    return drawn


def between(golden: Golden, line: str, bounds: NDArray[np.float64] | NDArray[np.int64]) -> list[int]:
    """What a line does in each of the times between neighbouring `bounds`, in ticks.

    A column in which the line changes once is drawn as it is afterwards; with more changes it is on the move, and with
    a change from or to an unsettled level it is open.
    """
    times, states = _changes(golden, line)
    last = np.maximum(np.searchsorted(times, bounds[1:], side="left") - 1, 0)
    first = np.maximum(np.searchsorted(times, bounds[:-1], side="right") - 1, 0)
    open_until = np.concatenate(([0], np.cumsum(states == OPEN)))
    vague = open_until[last + 1] - open_until[first] > 0
    found = np.where(vague, OPEN, np.where(last - first > 1, MOVES, states[last]))
    drawn: list[int] = found.tolist()
    return drawn


def _changes(golden: Golden, line: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """When a line changes, and to what."""
    bit = int(line[1:])
    levels = (golden.inputs if line[0] == "i" else golden.outputs) >> bit & 1
    states = levels.astype(np.int64)
    if line[0] == "o":
        states[golden.settled >> bit & 1 == 0] = OPEN
    fresh = np.ones(len(states), bool)
    fresh[1:] = states[1:] != states[:-1]
    return golden.ticks[fresh], states[fresh]


def _crowded(times: NDArray[np.int64], bounds: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The columns in which changes follow each other so closely that drawing them one by one would mislead."""
    near = np.diff(times[1:]) < CROWDED * (bounds[1] - bounds[0])
    edges = np.flatnonzero(np.diff(np.concatenate(([False], near, [False])).astype(np.int8)))
    crowded = np.zeros(len(bounds) - 1, bool)
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if stop - start >= MANY:
            left, right = np.searchsorted(bounds, times[[start + 1, stop + 1]], side="right")
            crowded[left - 1 : right] = True
    return crowded


def as_text(states: Sequence[int], glyphs: StaveGlyphs) -> str:
    """The columns as characters."""
    return "".join(glyphs.characters[state] for state in states)


def as_svg(states: Sequence[int], width: float, height: float) -> str:
    """The columns as an SVG picture, `width` by `height` in millimetres, in the colour of the text around it."""
    return (
        f'<svg class="trace" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 {width:g} {height:g}" '
        f'aria-hidden="true">{shapes(states, width, height)}</svg>'
    )


def shapes(states: Sequence[int], width: float, height: float) -> str:
    """The same as shapes in the units of a picture around them; their strokes suit a height of some 3 units."""
    wide, top, low = width / max(len(states), 1), height * 0.15, height * 0.85
    boxes, path, at = [], [], 0
    before: int | None = None
    for state, group in groupby(states):
        stop = at + len(list(group))
        left, right = at * wide, stop * wide
        if state in (LOW, HIGH):
            y = low if state == LOW else top
            joined = before in (LOW, HIGH)
            path.append(f"{'V' if joined else f'M{left:.2f} '}{y:.2f}H{right:.2f}")
        else:
            ink = "currentColor" if state == MOVES else "none"
            dashes = "" if state == MOVES else ' stroke="currentColor" stroke-dasharray="0.6 0.6"'
            boxes.append(
                f'<rect x="{left:.2f}" y="{top:.2f}" width="{right - left:.2f}" height="{low - top:.2f}" fill="{ink}" '
                f'fill-opacity="0.45" stroke-width="0.2"{dashes}/>'
            )
        at, before = stop, state
    line = f'<path d="{"".join(path)}" fill="none" stroke="currentColor" stroke-width="0.3"/>' if path else ""
    return "".join(boxes) + line
