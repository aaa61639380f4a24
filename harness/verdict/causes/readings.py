"""One recording, read at each rate at which a cause has the bench step."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import scipy  # loads its parts where they are used
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.sim.levels import UNKNOWN

from ...boards.profile import Board
from ...capture.record import Capture, Floats, RecordedLine
from ..clock import steady
from ..fit import Fit, Recording, fit, timed
from ..reading import Readout, read
from ..reference import Foretold
from ..rows import ReadRows, changes, foretold_list, predicted, recorded
from .foretell import Prospect, on_axis

#: How far an instrument's clock may be off.
TOLERANCE = 0.021
#: Bits by which the times of edges may cost more by a clock than by the best one.
HANDICAP = 20.0
#: Times as fast or as slow as was meant that the bench may step.
WIDEST = 64.0
#: Edges by which a rate is looked at, and cells that a step of the fastest rate is divided into.
FIRST, CELLS = 384, 12
#: How nearly they must lie at one place in a step, of all edges and of what chance makes of so many.
COHERENT, CHANCE = 0.25, 2.0
#: How much more or less often a recording may move than the whole prediction does, and moves that do not count.
BUSY, FEW = 3.0, 6
#: Rates that are tried for a clock that nobody knows, and how coherent they are beside the best.
RATES, NEARLY = 6, 0.85


@dataclass
class Readings:
    """A capture by the clocks of the bench that was meant (`usual`), and of any other that is asked about."""

    capture: Capture
    board: Board
    meant: Prospect
    step_line: str
    others: dict[float, Readout | None] = field(default_factory=dict)
    fitted: dict[tuple[int, int, int], list[tuple[Recording, Fit]]] = field(default_factory=dict)

    @cached_property
    def usual(self) -> Readout:
        """As the verdict reads it."""
        return self._read(self.meant, self.capture)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The outputs that were recorded."""
        return tuple(name for name in self.capture.lines if name in OUTPUT_LINES)

    def of(self, told: Prospect, pace: float) -> Readout | None:
        """The recording as the bench that was foretold would make it; None where it cannot be of such a bench.

        The instrument counts `pace` seconds for each that passes.
        """
        hz, meant = told.foretold.hz, self.meant.foretold.hz
        if self.capture.unit != "seconds":
            return self.usual if pace == 1.0 else None
        if hz is None or meant is None:
            return self.usual
        rate = hz / pace
        if self.given is not None and abs(rate / self.given - 1) > TOLERANCE:
            return None
        if abs(rate / meant - 1) < TOLERANCE:
            return self.usual
        for known, reading in self.others.items():
            if known == rate or (reading is not None and _keeps(reading, rate, known)):
                return reading
        self.others[rate] = None
        if self.given or (self.coherence(rate) > self._least and self._is_as_busy(told.foretold, pace)):
            scaled = _scaled(self.capture, 1 / pace)
            found = self._read(told, scaled)
            if found.recordings:
                self.others[rate] = found
        return self.others[rate]

    def may_step(self, rate: float) -> bool:
        """Whether the recording may be of a bench at another rate than was meant, in steps to a unit of its time."""
        meant = self.meant.foretold.hz
        if self.capture.unit != "seconds" or meant is None or abs(rate / meant - 1) < TOLERANCE:
            return False  # it foretells what was meant
        if self.given is not None:
            return abs(rate / self.given - 1) < TOLERANCE
        return self.coherence(rate) > self._least

    @cached_property
    def given(self) -> float | None:
        """The rate of the step line, where that was recorded: steps to a unit of the recording's time."""
        clock = self.usual.recordings[0].clock
        return clock.rate if clock is not None and clock.given else None

    def _read(self, told: Prospect, capture: Capture) -> Readout:
        found = read(told.golden, capture, self.board, step_line=self.step_line, start=told.up)
        if found.recordings:
            return found
        clock = steady(found.scale)
        rows = recorded(found.lines, found.moments, clock, found.bounds, 0.1)
        return replace(found, recordings=(timed(found.moments, rows, clock),))

    def rows(self, told: Foretold, reading: Readout) -> ReadRows:
        """A prediction as it is compared with a reading."""
        there = on_axis(told, reading.reference)
        if reading.stated is not None:
            return foretold_list(there, reading.moments.names)
        return predicted(there, reading.moments, reading.stray)

    def fits(self, rows: ReadRows, reading: Readout) -> list[tuple[Recording, Fit]]:
        """How a prediction lies on a reading by each clock that may be the true one; the same for the same rows."""
        key = (id(reading), rows.first, hash((rows.levels.tobytes(), rows.known.tobytes())))
        if key not in self.fitted:
            least = min(one.handicap for one in reading.recordings) + HANDICAP
            some = [one for one in reading.recordings if one.handicap <= least]
            stated = [None if reading.stated is None else one.rows.first - rows.first for one in some]
            both = (
                (one, fit(one, rows, before=reading.before, stated=at))
                for one, at in zip(some, stated, strict=True)
            )
            self.fitted[key] = [(one, found) for one, found in both if found.places]
        return self.fitted[key]

    # Rates

    def coherence(self, rate: float) -> float:
        """How nearly the first edges lie at one place in steps of this rate, give or take the tolerance: 1 where they
        do."""
        spectrum, width = self._spectrum
        low, high = (int(rate * side / width) for side in (1 - TOLERANCE, 1 + TOLERANCE))
        part = spectrum[low : high + 2]
        return float(part.max()) if len(part) else 0.0

    def free_paces(self) -> list[float]:
        """Paces at which the edges lie at one place in a step of the bench that was meant, the slowest clocks first."""
        hz = self.meant.foretold.hz
        if hz is None or self.capture.unit != "seconds":
            return []
        if self.given is not None:
            return [hz / self.given] if abs(self.given / hz - 1) > TOLERANCE else []
        spectrum, width = self._spectrum
        if not len(spectrum):
            return []
        at = np.arange(len(spectrum)) * width
        free = (at > hz / WIDEST) & (at < hz * WIDEST) & (np.abs(at / hz - 1) > TOLERANCE)
        some = np.where(free, spectrum, 0.0)
        peaks = np.flatnonzero((some[1:-1] >= some[:-2]) & (some[1:-1] > some[2:])) + 1
        good = peaks[some[peaks] > max(NEARLY * some.max(), self._least)]
        found: list[float] = []
        for rate in at[good].tolist():
            if all(abs(rate * pace / hz - 1) > TOLERANCE for pace in found):
                found.append(hz / rate)
        return found[:RATES]

    @cached_property
    def _edges(self) -> Floats:
        """The first edges of the outputs."""
        sure = [_sure(self.capture.lines[name])[:FIRST] for name in self.names]
        times = np.sort(np.concatenate([np.zeros(0), *sure]))
        first: Floats = times[:FIRST]
        return first

    @cached_property
    def _spectrum(self) -> tuple[Floats, float]:
        """The length of the mean vector of the edges, by rate, and how far two rates are apart."""
        times, hz = self._edges, self.meant.foretold.hz or 1.0
        if len(times) < 2:
            return np.zeros(0), 1.0
        span = float(np.ptp(times)) or 1.0
        cell = max(1 / (hz * WIDEST * CELLS), span / (1 << 21))
        count = scipy.fft.next_fast_len(int(2 * span / cell) + 2, real=True)
        marks = np.bincount(((times - times[0]) / cell).astype(np.int64), minlength=count).astype(np.float64)
        found: Floats = np.abs(scipy.fft.rfft(marks)) / len(times)
        return found, 1 / (count * cell)

    @cached_property
    def _least(self) -> float:
        return (
            max(COHERENT, CHANCE / float(np.sqrt(max(len(self._edges), 1)))) if len(self._edges) > 16 else 0.0
        )

    def _is_as_busy(self, told: Foretold, pace: float) -> bool:
        """Whether the recording moves about as often as is foretold at this rate."""
        long = (self.capture.end - self.capture.start) * told.oscillator_hz / told.unit / pace
        seen = sum(len(self.capture.lines[name].times) - 1 for name in self.names)
        due = sum(len(changes(told, name)) for name in self.names) * long / max(told.end - told.since, 1.0)
        return (seen + FEW) / BUSY < due + FEW < (seen + FEW) * BUSY


def _keeps(reading: Readout, rate: float, known: float) -> bool:
    """Whether a reading for a `known` rate is one for this rate too."""
    clock = reading.recordings[0].clock
    found = known if clock is None else known * clock.rate / reading.scale
    return abs(found / rate - 1) < TOLERANCE


def _sure(line: RecordedLine) -> Floats:
    times: Floats = line.times[1:][(line.levels[1:] != UNKNOWN) & (line.levels[:-1] != UNKNOWN)]
    return times


def _scaled(capture: Capture, by: float) -> Capture:
    """The same by a watch that runs otherwise."""
    if by == 1.0:
        return capture
    lines = {name: RecordedLine(line.times * by, line.levels) for name, line in capture.lines.items()}
    return replace(
        capture, lines=lines, start=capture.start * by, end=capture.end * by, period=capture.period * by
    )


def beginning(capture: Capture, end: float) -> Capture:
    """The recording up to some instant."""
    lines = {
        name: RecordedLine(line.times[:count], line.levels[:count])
        for name, line in capture.lines.items()
        for count in [max(int(np.searchsorted(line.times, end)), 1)]
    }
    return replace(capture, lines=lines, end=end)
