"""The last stretch of a live record, as far as a screen shows it: levels, traces and what the eye makes of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim.frozen import frozen
from numpy.typing import NDArray

from ..golden.golden import Golden
from ..view.brightness import seen
from ..view.display import Lamp
from ..view.flashing import Flashing, flashing
from ..view.limits import FOLLOWED_HZ
from ..view.pictures import lamps_at, since
from ..view.stave import MOVES, between

#: Rows of the record that are looked at for one picture: more could not be told apart.
MOST_ROWS = 1 << 12
#: Real time that the eye looks back over to average, and over which flashes are counted.
EYE_S, FLASH_S = 0.4, 1.0
#: What a trace covers where nothing is stepped.
UNSTEPPED_S = 4.0


def until(record: Golden, tick: int) -> Golden:
    """The record as it was at a tick, at most `MOST_ROWS` rows of it; times count as before."""
    end = max(1, int(np.searchsorted(record.ticks, tick, side="right")))
    part = slice(max(0, end - MOST_ROWS), end)
    return replace(
        record,
        ticks=record.ticks[part],
        steps=record.steps[part],
        inputs=record.inputs[part],
        outputs=record.outputs[part],
        proved=record.proved[part],
        sampled=record.sampled[part],
        end=tick + 1,
    )


def kept(shown: Golden) -> Golden:
    """The same, whatever becomes of the bench that it is of."""
    names = ("ticks", "steps", "inputs", "outputs", "proved", "sampled")
    return replace(shown, **{name: getattr(shown, name).copy() for name in names})


@frozen
class RecentLevels:
    """Recent levels of each line in columns: steps from `first_step` on, or parts of the time where that is None."""

    rows: dict[str, list[int]]
    first_step: int | None


def traces(shown: Golden, count: int, *, blind: bool = False) -> RecentLevels:
    """The last `count` columns of a record: steps, or equal parts of the last seconds; of inputs not where `blind`."""
    rises = np.flatnonzero(np.diff(shown.steps) > 0) + 1
    starts: NDArray[np.int64] = shown.ticks[rises]
    first: int | None = None
    if len(starts) > 1:
        first = max(0, len(starts) - count)
        bounds = np.append(starts[first:], shown.end)
        step = int(shown.steps[rises[first]])
    else:
        begin = max(int(shown.ticks[0]), shown.end - int(UNSTEPPED_S * shown.oscillator_hz))
        bounds, step = np.linspace(begin, shown.end, count + 1), 0
    rows: dict[str, list[int]] = {
        line: [] if blind and line in INPUT_LINES else between(shown, line, bounds)
        for line in (*INPUT_LINES, *OUTPUT_LINES)
    }
    stepped = str(shown.facts.get("step_line", ""))
    if first is not None and rows.get(stepped):
        rows[stepped] = [MOVES] * len(rows[stepped])  # up and down in every column
    return RecentLevels(rows, step if first is not None else None)


def lamps(shown: Golden, speed: float | None) -> tuple[Lamp, ...]:
    """The eight outputs as the eye sees them while time runs `speed` times as fast as at the bench; None: it stands."""
    if speed is None:
        outputs, settled = int(shown.outputs[-1]), int(shown.settled[-1])
        return tuple(float(outputs >> bit & 1) if settled >> bit & 1 else None for bit in range(8))
    sight = seen(_last(shown, EYE_S * speed), speed, FOLLOWED_HZ)
    return lamps_at(sight, len(sight.times) - 1)


def flashes(shown: Golden, speed: float) -> Flashing:
    """How much the last second of real time flashed, played at this speed."""
    return flashing(_last(shown, FLASH_S * speed), speed)


def _last(shown: Golden, span: float) -> Golden:
    tick = max(int(shown.ticks[0]), shown.end - int(span * shown.oscillator_hz))
    return since(shown, max(tick, 0))
