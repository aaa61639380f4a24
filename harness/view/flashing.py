"""Whether light flashes more than WCAG allows in any second, as general flashes or as flashes of red."""

from __future__ import annotations

import numpy as np
from forelight.sim.frozen import frozen

from ..golden.golden import Golden
from .brightness import Levels, Ticks, seen
from .limits import CHANGE, DANGER, DARKER, FLASHES_ALLOWED, RED_CHANGE


@frozen
class Flashing:
    """The worst second: `flashes` (pairs of opposing changes) on `line`: `o0`..`o7` or `display`.

    With `red` they count as flashes of red only: they are too small or too bright for general ones.
    """

    flashes: float
    line: str
    red: bool = False

    @property
    def too_much(self) -> bool:
        return self.flashes > FLASHES_ALLOWED

    def __str__(self) -> str:
        where = "the display as a whole" if self.line == "display" else self.line
        what = " in red" if self.red else ""
        return f"{where} flashes{what} {self.flashes:.3g} times in a second, and {DANGER}"


def flashing(golden: Golden, speed: float = 1.0) -> Flashing:
    """How much light that is played at this speed flashes in its worst second, by lamp and as a whole.

    A lit lamp counts as the maximum relative luminance, and as saturated red; an unsettled one as half lit. Light that
    fuses does not flash.
    """
    sight = seen(golden, speed)
    levels = np.where(sight.unsettled, 0.5, sight.levels)
    columns = {f"o{line}": levels[:, line] for line in range(8)}
    columns["display"] = levels.mean(axis=1)
    second = golden.oscillator_hz * speed
    return worst(sight.times, columns, second)


def worst(times: Ticks | Levels, columns: dict[str, Levels], second: float) -> Flashing:
    """The worst of several luminances, 0 to 1, that hold from each of `times` on; `second` units make a second."""
    general = _worst(times, columns, second, CHANGE, DARKER)
    red = _worst(times, columns, second, RED_CHANGE, 1.0)
    return Flashing(red.flashes, red.line, red=True) if red.too_much and not general.too_much else general


def _worst(
    times: Ticks | Levels, columns: dict[str, Levels], second: float, change: float, darker: float
) -> Flashing:
    """Half the largest number of opposing changes within any one second: two opposing changes are a flash."""
    counts = {name: _flashes(times, column, second, change, darker) for name, column in columns.items()}
    line = max(counts, key=lambda name: counts[name])
    return Flashing(counts[line], line)


def _flashes(times: Ticks | Levels, luminance: Levels, second: float, change: float, darker: float) -> float:
    changes = np.array(_opposing_changes(times, luminance, change, darker), dtype=np.float64)
    if not len(changes):
        return 0.0
    within = np.searchsorted(changes, changes + second, side="left") - np.arange(len(changes))
    return float(within.max()) / 2


def _opposing_changes(times: Ticks | Levels, luminance: Levels, change: float, darker: float) -> list[float]:
    """When luminance has turned and gone `change` or more the other way, its darker end below `darker`."""
    moves = np.flatnonzero(luminance[1:] != luminance[:-1]) + 1
    dark, lit = luminance.min(), luminance.max()
    if np.all((luminance == dark) | (luminance == lit)):  # on and off by turns, as most lamps are
        return times[moves].tolist() if lit - dark >= change and dark < darker else []
    found: list[float] = []
    low = high = float(luminance[0])
    direction = 0
    for time, now in zip(times[moves].tolist(), luminance[moves].tolist(), strict=True):
        low, high = min(low, now), max(high, now)
        if direction >= 0 and high - now >= change and now < darker:
            direction, low = -1, now
            found.append(time)
        elif direction <= 0 and now - low >= change and low < darker:
            direction, high = 1, now
            found.append(time)
    return found
