"""A golden as a capture is compared with it: levels and steps on a time axis that counts steps.

Times here are golden ticks divided by the ticks of one step (`unit`), so that one step has the length 1 and numbers
are as small as the reasoning about them.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import replace

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN

from ..capture.record import LINES, Floats, Ints, Levels, RecordedLine, changes_only
from ..golden.golden import Golden
from .clean import without_spikes


@frozen
class Foretold:
    """`lines` hold levels (UNKNOWN where unsettled) from 0 to `end`; `rises` are the step line's rises, in order.

    `unit` is the length of a step in ticks, `hz` the step rate it stands for (None where there are no steps, and
    `unit` is then only a convenient length); `steps` counts rises before the golden's first row.

    The bench is bound to follow from `since` on. Until then the set-up is made, at a hand's own pace: that ends at
    `freed`, when restart is let go, and the next rise is at `onward`. Where in that step a hand lets go is not known.
    """

    lines: Mapping[str, RecordedLine]
    rises: Floats
    steps: int
    unit: float
    hz: float | None
    oscillator_hz: int
    end: float
    since: float = 0.0
    freed: float = 0.0
    onward: float = 0.0

    def step_at(self, times: Floats) -> Ints:
        """The number of the step that is on at these times."""
        return np.searchsorted(self.rises, times + 1e-9, side="right") + self.steps

    def seconds(self, time: float) -> float:
        """Seconds from the start of the procedure."""
        return time * self.unit / self.oscillator_hz

    def in_units(self, unit: float) -> Foretold:
        """The same with a step of so many ticks."""
        if unit == self.unit:
            return self
        by = self.unit / unit
        lines = {name: RecordedLine(line.times * by, line.levels) for name, line in self.lines.items()}
        times = (self.end * by, self.since * by, self.freed * by, self.onward * by)
        return Foretold(lines, self.rises * by, self.steps, unit, self.hz, self.oscillator_hz, *times)

    def without_short(self, shortest: float, step_line: str) -> Foretold:
        """The same without runs shorter than that, but for the step line."""
        lines = {
            name: line if name == step_line else without_spikes(line, shortest)
            for name, line in self.lines.items()
        }
        return replace(self, lines=lines)


def reference(
    golden: Golden,
    step_line: str | None,
    needed_ticks: float = 0.0,
    inputs: Container[str] = LINES,
    start: int = 0,
) -> Foretold:
    """The golden on its own time axis; one that repeats itself is prolonged to at least `needed_ticks`.

    It has all outputs, and the `inputs` that are named. At the tick `start` the set-up is over.
    """
    golden = _prolonged(golden, needed_ticks)
    rises = _rises(golden, step_line)
    gaps = np.diff(rises)
    hz = None
    if len(gaps):
        unit = _median(gaps)
        hz = golden.oscillator_hz / unit
    else:
        unit = _median(np.diff(golden.ticks)) if len(golden.ticks) > 1 else max(golden.end / 100, 1.0)
    times = golden.ticks / unit
    known = np.full(len(times), 0xFF, np.uint8)
    wanted = sum(1 << bit for bit in range(8) if f"i{bit}" in inputs)
    lines = _lines("i", wanted, times, golden.inputs, known)
    lines |= _lines("o", 0xFF, times, golden.outputs, golden.settled)
    if step_line == "step" and len(rises):
        lines["step"] = _step_line(rises, unit)
    return Foretold(
        lines,
        rises / unit,
        int(golden.steps[0]),
        unit,
        hz,
        golden.oscillator_hz,
        golden.end / unit,
        *_bound(rises / unit, start / unit, 1 / unit),
    )


def _bound(rises: Floats, start: float, tick: float) -> tuple[float, float, float]:
    """`since`, `freed` and `onward` of a set-up that ends at `start`: the last step in it shows what comes of it."""
    if start <= 0:
        return 0.0, 0.0, 0.0
    after = int(np.searchsorted(rises, start))
    since = float(rises[after - 1]) if after else start
    return since, start - 1.5 * tick, float(rises[after]) if after < len(rises) else start


def _lines(letter: str, wanted: int, times: Floats, bits: Levels, settled: Levels) -> dict[str, RecordedLine]:
    """The lines of the `wanted` bits, from a byte for each time, with a gap where a bit is not settled."""
    changed = ((bits[1:] ^ bits[:-1]) | (settled[1:] ^ settled[:-1])) & np.uint8(wanted)
    ever = int(np.bitwise_or.reduce(changed, initial=0))
    lines = {}
    for bit in range(8):
        if not wanted >> bit & 1:
            continue
        later = np.flatnonzero((changed & (1 << bit)) != 0) + 1 if ever >> bit & 1 else np.zeros(0, np.int64)
        rows = np.concatenate([[0], later])
        levels = np.where(settled[rows] >> bit & 1, bits[rows] >> bit & 1, np.uint8(UNKNOWN))
        lines[f"{letter}{bit}"] = changes_only(times[rows], levels)
    return lines


def _rises(golden: Golden, step_line: str | None) -> Floats:
    """Ticks at which the step line rises: from its own level where the golden holds it, or from the count of steps."""
    if step_line and step_line.startswith("i"):
        level = (golden.inputs >> int(step_line[1])) & 1
        rises = golden.ticks[np.flatnonzero((level[1:] == 1) & (level[:-1] == 0)) + 1]
        if len(rises) >= golden.steps[-1] - golden.steps[0]:
            return rises.astype(np.float64)
    counts = np.arange(golden.steps[0] + 1, golden.steps[-1] + 1)
    # ReadRows that count several rises at once: spread evenly between the rows.
    firsts = np.r_[True, np.diff(golden.steps) > 0]
    return np.interp(counts, golden.steps[firsts], golden.ticks[firsts])


def _step_line(rises: Floats, unit: float) -> RecordedLine:
    times = np.stack([rises, rises + unit / 2], axis=1).ravel() / unit
    return changes_only(np.r_[0.0, times], np.r_[0, np.tile([1, 0], len(rises))].astype(np.uint8))


def _median(values: Ints | Floats) -> float:
    """As NumPy's, which loads its masked arrays for that: a card would wait for them."""
    middle = (len(values) - 1) // 2, len(values) // 2
    return float(np.partition(values, middle)[[*middle]].mean())


def _prolonged(golden: Golden, needed: float) -> Golden:
    """A golden whose facts name a period (in ticks, found from some tick on), repeated until it is long enough.

    Where the bench may begin anywhere in it, a capture that begins at the end of the first period must find room too.
    """
    period, start = golden.facts.get("period_ticks"), golden.facts.get("period_from_tick", 0)
    if golden.facts.get("start") == "anywhere" and isinstance(period, int) and isinstance(start, int):
        needed += start + period
    if not isinstance(period, int) or not isinstance(start, int) or golden.end >= needed:
        return golden
    first, last = np.searchsorted(golden.ticks, [start, start + period])
    rounds = int(np.ceil((needed - start) / period))
    rows = np.r_[np.arange(first), np.tile(np.arange(first, last), rounds)]
    turn = np.r_[np.zeros(first, np.int64), np.repeat(np.arange(rounds), last - first)]
    per_period = int(golden.steps[min(last, len(golden.steps) - 1)] - golden.steps[first])
    return replace(
        golden,
        ticks=golden.ticks[rows] + turn * period,
        steps=golden.steps[rows] + turn * per_period,
        **{name: getattr(golden, name)[rows] for name in ("inputs", "outputs", "proved", "sampled")},
        end=start + rounds * period,
    )
