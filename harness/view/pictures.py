"""A sequence of pictures: what the eight outputs look like and for how long, with repeats found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.recurrence import periods
from numpy.typing import NDArray

from ..golden.golden import Golden, Race
from .brightness import Seen
from .display import Glyphs, Lamp, shade, shades_of
from .limits import FUSION_HZ

#: Longer sequences are not searched for a repeat: nobody would read that many pictures.
SEARCHED = 4096


@frozen
class Picture:
    """One look of the outputs, from `start` for `lasts` (in ticks), when `step` steps had been made.

    `lamps` has the brightness of `o0` to `o7`, None where a line is unsettled.
    """

    start: int
    lasts: int
    step: int
    lamps: tuple[Lamp, ...]

    @property
    def shades(self) -> tuple[int | None, ...]:
        """What a drawing shows of the lamps."""
        return tuple(shade(lamp) for lamp in self.lamps)


def lamps_at(seen: Seen, row: int) -> tuple[Lamp, ...]:
    """The eight lamps of one row."""
    pairs = zip(seen.levels[row].tolist(), seen.unsettled[row].tolist(), strict=True)
    return tuple(None if unsettled else level for level, unsettled in pairs)


def steps_at(golden: Golden, tick: int) -> int:
    """How many steps the design had seen at this tick."""
    return int(golden.steps[int(np.searchsorted(golden.ticks, tick, side="right")) - 1])


def since(golden: Golden, tick: int) -> Golden:
    """The golden from this tick on, with times and steps counted from there.

    Races before it stay, with negative times, where they still tell on an output.
    """
    row = int(np.searchsorted(golden.ticks, tick, side="right")) - 1
    ticks = golden.ticks[row:] - tick
    ticks[0] = 0
    first = int(golden.steps[row])
    again = golden.facts.get("period_from_tick")
    moved = {} if again is None else {"period_from_tick": max(0, int(again) - tick)}

    def told(races: Iterable[Race], claims: NDArray[np.uint8]) -> tuple[Race, ...]:
        left = int(np.bitwise_or.reduce(claims[row:]))
        return tuple(
            replace(race, tick=race.tick - tick, step=race.step - first)
            for race in races
            if race.tick >= tick or any(left >> int(line[1:]) & 1 for line in race.outputs)
        )

    return replace(
        golden,
        facts={**golden.facts, **moved},
        races=told(golden.races, ~golden.settled),
        suspects=told(golden.suspects, golden.sampled),
        ticks=ticks,
        steps=golden.steps[row:] - first,
        inputs=golden.inputs[row:],
        outputs=golden.outputs[row:],
        proved=golden.proved[row:],
        sampled=golden.sampled[row:],
        end=golden.end - tick,
    )


def pictures(golden: Golden, seen: Seen, lines: Sequence[int] = range(8)) -> list[Picture]:
    """The pictures of a golden, one for each time that the drawing of these output lines changes.

    Lamps that change one after another within one period of `FUSION_HZ` seem to change at once: what stands between is
    left out, unless it is a flash of its own, which is neither as before nor as after.
    """
    drawn = np.where(seen.unsettled, -1, shades_of(seen.levels))[:, list(lines)]
    fresh = np.ones(len(drawn), bool)
    fresh[1:] = (drawn[1:] != drawn[:-1]).any(axis=1)
    rows = np.flatnonzero(fresh)
    looks = list(map(tuple, drawn[rows].tolist()))
    ticks = [*seen.times[rows].tolist(), seen.end]
    shortest = golden.oscillator_hz / FUSION_HZ
    kept: list[int] = []
    starts: list[int] = []
    begun: int | None = None  # where what was left out began
    for number, look in enumerate(looks):
        start = ticks[number] if begun is None else begun
        short = number + 1 < len(looks) and ticks[number + 1] - start < shortest
        if short and (not kept or _between(looks[kept[-1]], look, looks[number + 1])):
            begun = start
            continue
        begun = None
        if not kept or look != looks[kept[-1]]:
            kept.append(number)
            starts.append(start)
    at = np.searchsorted(golden.ticks, starts, side="right") - 1
    steps = golden.steps[at].tolist()
    stops = [*starts[1:], seen.end]
    return [
        Picture(start, stop - start, step, lamps_at(seen, row))
        for start, stop, step, row in zip(starts, stops, steps, rows[kept].tolist(), strict=True)
    ]


def _between(before: Sequence[int], now: Sequence[int], after: Sequence[int]) -> bool:
    """Whether each lamp already is as it will be, or still as it was."""
    return all(one in (was, will) for was, one, will in zip(before, now, after, strict=True))


def repeat(sequence: Sequence[Picture], lines: Sequence[int] = range(8)) -> tuple[int, int] | None:
    """Where a sequence begins to repeat itself, and after how many pictures: `(first, period)`.

    Pictures and durations must be the same from `first` to the end, over two periods at least; the last
    picture may be cut short by the end. None if it does not repeat.
    """
    count = len(sequence)
    if count > SEARCHED:
        return None
    names: dict[tuple[tuple[int | None, ...], int], int] = {}
    looks: dict[tuple[int | None, ...], int] = {}
    marks, plain = [], []
    for picture in sequence:
        drawn = tuple(picture.shades[line] for line in lines)
        marks.append(names.setdefault((drawn, picture.lasts), len(names)))
        plain.append(looks.setdefault(drawn, len(looks)))
    mark, look = np.array(marks), np.array(plain)
    found = (
        (first, period)
        for period, first in periods(mark[:-1], 1)
        if count - first >= 2 * period
        and look[-1] == look[-1 - period]
        and sequence[-1].lasts <= sequence[-1 - period].lasts
    )
    return min(found, key=sum, default=None)


def display_lamps(lamps: Sequence[Lamp], wiring: Mapping[str, str]) -> dict[str, Lamp]:
    """Segment -> brightness, by the board's wiring of output lines to segments."""
    return {segment: lamps[int(line[1:])] for line, segment in wiring.items()}


def level_text(lamps: Sequence[Lamp], glyphs: Glyphs) -> str:
    """The eight outputs as characters, bit 7 first: `0`, `1`, `~` for a flicker too fast to follow, `?`."""
    return "".join(_level(lamp, glyphs) for lamp in reversed(lamps))


def _level(lamp: Lamp, glyphs: Glyphs) -> str:
    if lamp is None:
        return glyphs.unsettled
    return str(int(lamp)) if lamp in (0, 1) else "~"
