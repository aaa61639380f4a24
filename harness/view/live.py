"""The moving preview as a plan: which picture at which time."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from forelight.sim.levels import UNKNOWN
from rich.text import Text

from ..boards.segments import Size
from ..golden.golden import Golden
from .brightness import Levels, Marks, Seen, seen
from .display import Glyphs, draw
from .limits import FOLLOWED_HZ
from .pictures import Picture, display_lamps, level_text, steps_at

#: Pictures a second.
RATE = 25


def plan(golden: Golden, speed: float = 1.0, rate: int = RATE) -> list[tuple[float, Picture]]:
    """The pictures of an animation, each with its second; one that stays is not listed again.

    Changes that nobody can follow are drawn as what the eye sees of them: no screen could show them in step.

    A line that is at the end of a picture's share of time as it was at its start, but not all the time, is drawn at its
    mean: a flash between two pictures is seen dimly, not lost.
    """
    sight = seen(golden, speed, FOLLOWED_HZ)
    exposure = golden.oscillator_hz * speed / rate
    count = max(1, int(np.ceil(sight.end / exposure)))
    bounds = np.minimum(exposure * np.arange(count + 1), sight.end)
    lines = [_exposed(sight, line, bounds) for line in range(8)]
    shots: list[tuple[float, Picture]] = []
    for row in range(count):
        lamps = tuple(None if line[row] == UNKNOWN else float(line[row]) for line in lines)
        if not shots or lamps != shots[-1][1].lamps:
            start, stop = int(bounds[row]), int(bounds[row + 1])
            shots.append((row / rate, Picture(start, stop - start, steps_at(golden, stop - 1), lamps)))
    return shots


def _exposed(sight: Seen, line: int, bounds: Levels) -> Levels:
    """What to draw of one line between neighbouring bounds: 0 to 1, or `UNKNOWN`."""
    states = np.where(sight.unsettled[:, line], UNKNOWN, sight.levels[:, line])
    spans = np.maximum(np.diff(bounds), 1)
    means = _integral(sight, sight.levels[:, line], bounds) / spans
    touched = _integral(sight, sight.unsettled[:, line], bounds) > 0
    first = states[np.searchsorted(sight.times, bounds[:-1], side="right") - 1]
    last = states[np.searchsorted(sight.times, bounds[1:], side="left") - 1]
    drawn: Levels = np.where(first != last, last, np.where(touched, UNKNOWN, np.round(means, 3)))
    return drawn


def _integral(sight: Seen, values: Levels | Marks, bounds: Levels) -> Levels:
    """Of a held sequence, between neighbouring bounds."""
    edges = np.append(sight.times, sight.end)
    sums = np.concatenate([[0.0], np.cumsum(np.diff(edges) * values)])
    return np.diff(np.interp(bounds, edges, sums))


def face(picture: Picture, wiring: Mapping[str, str], now: str, *, size: Size, glyphs: Glyphs) -> list[Text]:
    """One moment of the preview: the display over its time, step and levels (bit 7 first)."""
    drawn = draw(display_lamps(picture.lamps, wiring), size, glyphs) if wiring else []
    return [
        *drawn,
        Text(
            f"{now}  step {picture.step}  {level_text(picture.lamps, glyphs)}", overflow="crop", no_wrap=True
        ),
    ]
