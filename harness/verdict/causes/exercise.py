"""Exercises: a cause that is drawn and hidden in a recording, and what an answer to it is worth.

The same draw says what is injected into the chip's model by the tests, which record it in their own, rougher way.
"""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.designs.procedures.procedure import Set
from forelight.sim.levels import UNKNOWN

from ...bench.course import Seat
from ...capture.readers import parse_capture
from ...capture.record import Capture, Floats, Levels, RecordedLine
from ..listing import Slip
from . import clock, recording, silicon, writing
from .foretell import Foreteller, clipped
from .mishap import PAIR, SHARES, Clip, Handling, Mishap, both
from .pairs import PAIRED
from .rank import FAMILIES

RECORDED_INPUTS = "other inputs recorded"
#: The design wakes up in one of so many states, and edges stray by so much of a step.
WAKES, JITTER = 64, 0.02
#: A clock stops after one of these steps, for so many seconds, and one of these entries of a list is amiss.
STOPS, STOPPED, ENTRIES = range(40, 200, 7), 2.0, range(1, 11)
#: A clock that is not the board's own counts this much more slowly.
OUTSIDE = (1.1, 1.9)


def drawn(kind: str, it: Handling, seat: Seat, rng: random.Random) -> tuple[Mishap, ...]:
    """A cause of this kind for this handling, or two that come together; none where there is none of this kind."""
    seen = recorded_inputs(it, rng) if kind == RECORDED_INPUTS else _OUTPUTS
    causes = [cause for family in FAMILIES for cause in family(it, seen)]
    if kind == PAIR:
        some = [cause for cause in causes if cause.kind in PAIRED]
        return tuple(rng.sample(some, 2)) if len(some) > 1 else ()
    match kind:
        case "clip in another order":
            clips = tuple(Clip(n) for n in rng.sample(range(8), 8))
            some = [_other_order(clips)]
        case "stuck inside the chip":
            some = [silicon.unnamed(fault) for fault in silicon.all_faults(seat)]
        case "another power-up":
            some = [recording.power_up(wake) for wake in range(WAKES)]
        case "another slot":
            some = list(recording.other_slots(it, seen))
        case "clock stopped on the way":
            some = [clock.stopped_on_the_way(it, steps, STOPPED) for steps in STOPS]
        case kind if kind in writing.KINDS:
            some = [writing.cause([Slip(writing.KINDS[kind], n, n)]) for n in ENTRIES]
        case writing.SEVERAL:
            pairs = combinations(ENTRIES[::2], 2)
            slips = [*writing.KINDS.values()]
            some = [writing.cause([Slip(rng.choice(slips), n, n) for n in pair]) for pair in pairs]
        case _:
            some = [cause for cause in causes if cause.kind == kind]
    return (rng.choice(some),) if some else ()


def _other_order(clips: tuple[Clip, ...]) -> Mishap:
    return Mishap(
        "clip in another order",
        "clips in another order",
        "The clips are on the outputs in another order.",
        "Clip each channel to the output of its name.",
        lambda it: replace(it, clips=clips),
    )


def recorded_inputs(it: Handling, rng: random.Random) -> Capture:
    """A recording that holds one or two free inputs, at other levels than was meant."""
    special = {said.line for said in (it.sheet.step, it.sheet.restart) if said is not None}
    moved = {line for action in it.then if isinstance(action, Set) for line in action.levels}
    levels = _levels(it)
    free = [line for line in INPUT_LINES if line in levels and line not in special | moved]
    chosen = rng.sample(free, min(rng.randint(1, 2), len(free)))
    lines = {line: _resting(1 - levels[line]) for line in chosen}
    return replace(_OUTPUTS, lines=lines)


def _levels(it: Handling) -> dict[str, int]:
    """Of the inputs, as they stand when the slot is up."""
    return {
        line: level
        for action in it.before
        if isinstance(action, Set)
        for line, level in action.levels.items()
    }


def other_levels(it: Handling, truth: Handling) -> list[str]:
    """The inputs that were set otherwise than was meant."""
    meant, done = _levels(it), _levels(truth)
    return [line for line in INPUT_LINES if meant.get(line) != done.get(line)]


def _resting(level: int) -> RecordedLine:
    return RecordedLine(np.zeros(1), np.full(1, level, np.uint8))


#: A recording of all outputs, for a moment.
_OUTPUTS = Capture({line: _resting(0) for line in OUTPUT_LINES}, 0.0, 1e-3)


@dataclass(frozen=True)
class Exercise:
    """What was meant, the cause that is hidden, and the `text` of the recording."""

    meant: Handling
    cause: Mishap
    text: str

    @cached_property
    def capture(self) -> Capture:
        return parse_capture(self.text.encode(), "exercise")


def exercise(it: Handling, teller: Foreteller, rng: random.Random, steps: int) -> Exercise | None:
    """One that is drawn, the usual kinds oftener, with a recording of so many steps; None where this draw has none."""
    kind = rng.choices([*SHARES], [*SHARES.values()])[0]
    parts = drawn(kind, it, teller.seat(it), rng)
    if not parts:
        return None
    cause = parts[0] if len(parts) == 1 else both(*parts)
    truth = cause.change(it)
    if truth.slips:
        return None  # these are made with a list by eye, and an exercise is what an instrument recorded
    meant, told = teller.prospect(it), teller.prospect(replace(truth, wake=rng.randrange(WAKES)))
    if meant is None or told is None:
        return None
    seconds = steps * meant.foretold.unit / meant.foretold.oscillator_hz
    foretold = told.foretold
    lines = clipped(foretold, truth.clips).lines
    held = other_levels(it, truth) if kind == RECORDED_INPUTS else []
    pace = rng.uniform(*OUTSIDE) if truth.pace is None else truth.pace
    scale = foretold.unit / foretold.oscillator_hz
    names = [*OUTPUT_LINES, *held]
    end = min(foretold.end, foretold.onward + seconds / scale)
    if end <= foretold.onward:
        return None
    text = written({name: lines[name] for name in names}, foretold.onward, end, scale * pace, rng)
    return Exercise(it, cause, text)


def written(
    lines: Mapping[str, RecordedLine], start: float, end: float, scale: float, rng: random.Random
) -> str:
    """The lines as an instrument writes them down from `start` to `end`, with `scale` seconds to a unit of time."""
    table: dict[float, dict[str, int]] = {0.0: {}}
    for name, line in lines.items():
        last = 0
        for time, level in _part(line, start, end):
            last = last if level == UNKNOWN else level
            strayed = max(time - start + rng.uniform(-JITTER, JITTER), 0.0) if time > start else 0.0
            table.setdefault(round(strayed * scale, 7), {})[name] = last
    table.setdefault(round((end - start) * scale, 7), {})
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["time_s", *lines])
    now: dict[str, int] = {}
    for time in sorted(table):
        now |= table[time]
        rows.writerow([f"{time:.7f}", *(now[name] for name in lines)])
    return out.getvalue()


def _part(line: RecordedLine, start: float, end: float) -> list[tuple[float, int]]:
    """The level at `start`, and the changes up to `end`."""
    times: Floats = line.times
    levels: Levels = line.levels
    first = max(int(np.searchsorted(times, start, side="right")) - 1, 0)
    last = int(np.searchsorted(times, end))
    return [
        (start, int(levels[first])),
        *zip(times[first + 1 : last].tolist(), levels[first + 1 : last].tolist(), strict=True),
    ]
