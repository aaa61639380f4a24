"""The moving preview as a plan: which picture at which time, and whether it flashes too much to start."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from forelight.sim.levels import UNKNOWN
from rich.text import Text

from ..boards.segments import Size
from ..golden.golden import Golden
from .brightness import Levels, Marks, Seen, Ticks, seen
from .display import Glyphs, draw
from .pictures import Picture, display_lamps, level_text, steps_at

#: Pictures a second.
RATE = 25
#: WCAG 2.2, success criterion 2.3.1: no more than three flashes in any period of one second.
FLASHES_ALLOWED = 3
#: WCAG 2.2, general flash: a pair of opposing changes of 10 % or more of the maximum relative luminance ...
CHANGE = 0.10
#: ... where the relative luminance of the darker image is below 0.80.
DARKER = 0.80


@dataclass(frozen=True)
class Flashing:
    """The worst second of a preview: `flashes` (pairs of changes) on `line`: `o0`..`o7` or `display`."""

    flashes: float
    line: str

    @property
    def too_much(self) -> bool:
        return self.flashes > FLASHES_ALLOWED


def plan(golden: Golden, speed: float = 1.0, rate: int = RATE) -> list[tuple[float, Picture]]:
    """The pictures of an animation, each with its second; one that stays is not listed again.

    A line that is at the end of a picture's share of time as it was at its start, but not all the time, is drawn at its
    mean: a flash between two pictures is seen dimly, not lost.
    """
    sight = seen(golden, speed)
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


def flashing(golden: Golden, speed: float = 1.0) -> Flashing:
    """How much a preview at this speed would flash in its worst second, by lamp and as a whole.

    A lit lamp counts as the maximum relative luminance, whatever the screen's colours; an unsettled one as
    half.
    """
    sight = seen(golden, speed)
    levels = np.where(sight.unsettled, 0.5, sight.levels)
    columns = {f"o{line}": levels[:, line] for line in range(8)}
    columns["display"] = levels.mean(axis=1)
    second = golden.oscillator_hz * speed
    counts = {name: _worst(sight.times, column, second) for name, column in columns.items()}
    line = max(counts, key=lambda name: counts[name])
    return Flashing(counts[line], line)


def _worst(times: Ticks, luminance: Levels, second: float) -> float:
    """Half the largest number of opposing changes within any one second: two opposing changes are a flash."""
    changes = np.array(_opposing_changes(times, luminance), dtype=np.float64)
    if not len(changes):
        return 0.0
    within = np.searchsorted(changes, changes + second, side="left") - np.arange(len(changes))
    return float(within.max()) / 2


def _opposing_changes(times: Ticks, luminance: Levels) -> list[int]:
    """When luminance has turned and gone `CHANGE` or more the other way, its darker end below `DARKER`."""
    found: list[int] = []
    low = high = float(luminance[0])
    direction = 0
    for time, now in zip(times.tolist()[1:], luminance.tolist()[1:], strict=True):
        low, high = min(low, now), max(high, now)
        if direction >= 0 and high - now >= CHANGE and now < DARKER:
            direction, low = -1, now
            found.append(time)
        elif direction <= 0 and now - low >= CHANGE and low < DARKER:
            direction, high = 1, now
            found.append(time)
    return found
