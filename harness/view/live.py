"""The moving preview as a plan: which picture at which time."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from forelight.sim.levels import UNKNOWN
from rich.text import Text

from ..boards.segments import Size
from ..golden.golden import Golden
from .brightness import Levels, Marks, Seen, Ticks, moments, seen
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
    rows = _rows(sight, exposure)
    starts, stops = (np.minimum(exposure * edges, sight.end) for edges in (rows, rows + 1))
    drawn = np.stack([_exposed(sight, line, starts, stops) for line in range(8)], axis=1)
    fresh = np.append(True, np.any(drawn[1:] != drawn[:-1], axis=1))
    shots: list[tuple[float, Picture]] = []
    for row, start, stop, lamps in zip(
        *(column[fresh].tolist() for column in (rows, starts.astype(int), stops.astype(int), drawn)),
        strict=True,
    ):
        seen_lamps = tuple(None if lamp == UNKNOWN else lamp for lamp in lamps)
        shots.append((row / rate, Picture(start, stop - start, steps_at(golden, stop - 1), seen_lamps)))
    return shots


def _rows(sight: Seen, exposure: float) -> Ticks:
    """Numbers of the pictures in or beside which something changes: the rest are as the one before.

    So hours in which nothing moves cost nothing.
    """
    count = max(1, int(np.ceil(sight.end / exposure)))
    touched = (sight.times / exposure).astype(np.int64)
    near = moments(touched + beside for beside in (-1, 0, 1))
    return near[(near >= 0) & (near < count)]


def _exposed(sight: Seen, line: int, starts: Levels, stops: Levels) -> Levels:
    """What to draw of one line between each start and its stop: 0 to 1, or `UNKNOWN`."""
    states = np.where(sight.unsettled[:, line], UNKNOWN, sight.levels[:, line])
    means = _integral(sight, sight.levels[:, line], starts, stops) / np.maximum(stops - starts, 1)
    touched = _integral(sight, sight.unsettled[:, line], starts, stops) > 0
    first = states[np.searchsorted(sight.times, starts, side="right") - 1]
    last = states[np.searchsorted(sight.times, stops, side="left") - 1]
    drawn: Levels = np.where(first != last, last, np.where(touched, UNKNOWN, np.round(means, 3)))
    return drawn


def _integral(sight: Seen, values: Levels | Marks, starts: Levels, stops: Levels) -> Levels:
    """Of a held sequence, between each start and its stop."""
    edges = np.append(sight.times, sight.end)
    sums = np.concatenate([[0.0], np.cumsum(np.diff(edges) * values)])
    whole: Levels = np.interp(stops, edges, sums) - np.interp(starts, edges, sums)
    return whole


def face(picture: Picture, wiring: Mapping[str, str], now: str, *, size: Size, glyphs: Glyphs) -> list[Text]:
    """One moment of the preview: the display over its time, step and levels (bit 7 first)."""
    drawn = draw(display_lamps(picture.lamps, wiring), size, glyphs) if wiring else []
    return [
        *drawn,
        Text(
            f"{now}  step {picture.step}  {level_text(picture.lamps, glyphs)}", overflow="crop", no_wrap=True
        ),
    ]
