"""A capture as predictions of it are compared with it: in rows, by each clock that its edges keep to."""

from __future__ import annotations

from collections import Counter

import numpy as np
from forelight.sim.levels import UNKNOWN

from ...capture.record import Capture, Floats, RecordedLine
from ..clean import shortest_run, without_spikes
from ..clock import Clock, clocks, steady
from ..fit import Recording, timed, written
from ..reference import Foretold
from ..rows import Moments, ReadRows, changes, foretold_list, moments, predicted, recorded, seen_list

#: How far an instrument's clock may be off.
TOLERANCE = 0.022
#: Clocks that are looked at.
CLOCKS = 3
#: A line whose changes keep this close together in a step tells the clock.
CLOSE = 0.9
STRAY = 0.12
FIRST = 96  # edges by which a rate is looked at


class Recorded:
    """One capture, cleaned; `names` are the lines that are compared."""

    def __init__(self, capture: Capture, step_line: str) -> None:
        self.capture, self.step_line = capture, step_line
        self.listed = not capture.timed
        self.names = tuple(name for name in capture.lines if name[0] in "io" and name != step_line)

    def recordings(
        self, it: Foretold, pace: float = 1.0, most: int | None = None, tolerance: float = TOLERANCE
    ) -> list[Recording]:
        """The recording in the rows of this prediction, by each clock; at most so many steps of it.

        The instrument counts `pace` seconds for each that passes.
        """
        if self.listed:
            rows = seen_list(self.capture.lines, self.names, self.capture.start, self.capture.end)
            return [written(self.names, rows, self.capture.signs)]
        unit = it.unit / it.oscillator_hz * pace if self.capture.unit == "seconds" else 1.0
        lines = self._lines(unit)
        long = (self.capture.end - self.capture.start) / unit
        if most is not None and long > most:
            long = float(most)
            lines = {name: _until(line, long) for name, line in lines.items()}
        at = moments(it, self.names)
        return [self._laid(lines, at, clock, long) for clock in self._clocks(lines, it, tolerance)]

    def _lines(self, unit: float) -> dict[str, RecordedLine]:
        """The lines in nominal steps from the beginning, without spikes."""
        period = self.capture.period / unit
        short = shortest_run(1.0, period)
        found = {}
        for name, line in self.capture.lines.items():
            times = (line.times - self.capture.start) / unit
            times[1:] -= period / 2
            found[name] = without_spikes(RecordedLine(times, line.levels), short)
        return found

    def _clocks(self, lines: dict[str, RecordedLine], it: Foretold, tolerance: float) -> list[Clock]:
        times, phases = _edges(lines, it, self.names, self.step_line)
        if len(np.unique(times)) < 3:
            return [steady(1.0)]
        found = clocks(times, phases, 1 - tolerance, 1 + tolerance)[:CLOCKS]
        return [clock for clock in found if np.ptp(clock.x) > 0 and np.ptp(clock.u) > 0] or [steady(1.0)]

    @staticmethod
    def _laid(lines: dict[str, RecordedLine], at: Moments, clock: Clock, long: float) -> Recording:
        return timed(at, recorded(lines, at, clock, (0.0, long), 3 * clock.sigma + 0.02), clock)

    def rows(self, it: Foretold, to: Recording, names: tuple[str, ...] | None = None) -> ReadRows:
        """The rows of a prediction, as they are compared with this recording; or those of other lines, read likewise."""
        if self.listed:
            return foretold_list(it, names or self.names)
        stray = STRAY if to.clock is None else min(max(to.clock.stray, STRAY), 0.4)
        at = to.moments
        if names is not None:
            outputs = [place for name, place in zip(at.names, at.places, strict=True) if name[0] == "o"]
            usual = Counter(outputs or at.places).most_common(1)[0][0]
            known = dict(zip(at.names, at.places, strict=True))
            at = Moments(names, tuple(known.get(name, usual) for name in names))
        rows = predicted(it, at, stray)
        if rows.slots != to.rows.slots:
            raise ValueError(f"{rows.slots} rows a step and not {to.rows.slots}")
        return rows

    def stated(self, rows: ReadRows) -> int | None:
        """Which row of a prediction a list says that it begins with."""
        return int(self.capture.start) - rows.first if self.listed else None


def _until(line: RecordedLine, end: float) -> RecordedLine:
    count = max(int(np.searchsorted(line.times, end)), 1)
    return RecordedLine(line.times[:count], line.levels[:count])


def _edges(
    lines: dict[str, RecordedLine], it: Foretold, names: tuple[str, ...], step_line: str
) -> tuple[Floats, Floats]:
    """The edges that tell the clock, and where in a step each is foretold."""
    times, phases = [np.zeros(0)], [np.zeros(0)]
    rises = it.rises[it.rises >= it.since]
    if step_line in lines and len(rises):
        line = lines[step_line]
        up = line.times[1:][(line.levels[1:] == 1) & (line.levels[:-1] == 0)]
        times.append(up)
        phases.append(np.full(len(up), rises[0] % 1.0))
    for name in names:
        turns = np.exp(2j * np.pi * changes(it, name))
        middle = turns.mean() if len(turns) else 0.0
        if abs(middle) > CLOSE:
            line = lines[name]
            sure = line.times[1:][(line.levels[1:] != UNKNOWN) & (line.levels[:-1] != UNKNOWN)]
            times.append(sure)
            phases.append(np.full(len(sure), float(np.angle(middle)) / (2 * np.pi) % 1.0))
    when, where = np.concatenate(times), np.concatenate(phases)
    order = np.argsort(when, kind="stable")
    return when[order], where[order]


def coherence(capture: Capture, names: tuple[str, ...], unit: float, tolerance: float = TOLERANCE) -> float:
    """How nearly the first edges lie at one place in steps of about `unit`: 1 where they do, 0 where they lie anywhere."""
    found = []
    for name in names:
        line = capture.lines[name]
        found.append(line.times[1:][(line.levels[1:] != UNKNOWN) & (line.levels[:-1] != UNKNOWN)][:FIRST])
    times = np.sort(np.concatenate(found))[:FIRST] if found else np.zeros(0)
    if len(times) < 4:
        return 0.0
    times = (times - times.mean()) / unit
    span = float(np.ptp(times))
    rates = np.linspace(1 - tolerance, 1 + tolerance, min(int(tolerance * span * 8) + 3, 4000))
    return float(np.abs(np.exp(2j * np.pi * np.outer(rates, times)).mean(axis=1)).max())
