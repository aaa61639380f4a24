"""One recording, read at each rate at which a cause has the bench step."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import scipy  # loads its parts where they are used
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim.levels import UNKNOWN

from ...boards.profile import Board
from ...capture.record import Capture, Floats, RecordedLine
from ..clean import without_spikes
from ..clock import Clock, steady
from ..fit import Fit, fit
from ..placement import Recording, timed
from ..reading import FASTEST, Readout, read
from ..reference import Foretold
from ..rows import ReadRows, changes, every_change, foretold_list, mask_of, predicted, recorded
from ..verdict import longest_rest, room
from .foretell import Prospect, axis, clipped, on_axis
from .mishap import Clip

#: Predictions that are asked about again.
RECENT = 4
#: How far an instrument's clock may be off.
TOLERANCE = 0.021
#: How far a hand that makes the steps may be off the pace that it should keep.
HANDS = 0.25
#: Bits by which the times of edges may cost more by a clock than by the best one.
HANDICAP = 20.0
#: Times as fast or as slow as was meant that the bench may step.
WIDEST = 64.0
#: Edges by which a rate is looked at, and cells that a step of the fastest rate is divided into.
FIRST, CELLS = 384, 12
#: How nearly they must lie at one place in a step, of all edges and of what chance makes of so many.
COHERENT, CHANCE = 0.25, 2.0
#: A recording so many times as long as a prediction has no place in it: half of it may lie before.
TOO_LONG = 4.0
#: How much more or less often a recording may move than the whole prediction does, and moves that do not count.
BUSY, FEW = 3.0, 6
#: Rates that are tried for a clock that nobody knows, how coherent they must be, and how many are tried if none is.
RATES, NEARLY, AT_LEAST = 12, 0.35, 3
#: Paces that are tried where nothing tells a rate.
ANY = (0.1, 0.25, 0.5, 0.8, 1.25, 1.6, 2.0, 4.0, 10.0)
#: Of the usual run of a level, so much is short.
SHORT = 0.04
#: The entropy of a normal distribution is the logarithm of its standard deviation times so much; of one that is even,
#: the logarithm of what 99 % of it keeps within on either side, times so much.
NORMAL, EVENLY = math.sqrt(2 * math.pi * math.e), 2.0
#: Of a step: edges nearer to each other come at one instant, and no clock keeps its edges to less than that. What a
#: clock has been fitted to as many instants says nothing of how they keep to it.
INSTANT, LEAST_SPREAD, FITTED = 0.3, 0.003, 3
#: Of a recording's length, so long a line must be foretold to rest that never moves in it.
STILLNESS = 0.9
#: Edges that say little of a rate, and nothing at all; and whose places in a step must be foretold.
FEWEST, STILL, FEW_PLACED = 16, 3, 3
#: Instants of a recording by which a rate is looked for, how far apart they lie in it, and how many windows of what is
#: foretold they are compared with.
FEW_INSTANTS, MANY_INSTANTS, ALONE, WINDOWS = 3, 24, 0.01, 4096
#: Rates within the tolerance that are tried for a recording with too few edges for a clock, and how far, in steps, two
#: of them part by its end; of the levels so many may be otherwise by the rate that was meant.
MOST_RATES, APART, NEAR = 24, 0.5, 0.1


@dataclass
class Readings:
    """A capture by the clocks of the bench that was meant (`usual`), and of any other that is asked about.

    With steps made `by_hand` the pace of the steps tells nothing.
    """

    capture: Capture
    board: Board
    meant: Prospect
    step_line: str
    by_hand: bool = False
    others: dict[tuple[float, float], Readout | None] = field(default_factory=dict)
    fitted: dict[tuple[int, int, int], list[tuple[Recording, Fit]]] = field(default_factory=dict)
    clockless: dict[int, list[Recording]] = field(default_factory=dict)
    placed: dict[tuple[int, frozenset[str]], Readout] = field(default_factory=dict)
    recent: deque[tuple[Foretold, Readout, ReadRows]] = field(default_factory=lambda: deque(maxlen=RECENT))
    clipped: deque[tuple[Foretold, tuple[Clip, ...], Foretold]] = field(
        default_factory=lambda: deque(maxlen=RECENT)
    )

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
            return None if hz is None and self.given is not None else self.usual
        rate = hz / pace
        if self.given is not None and abs(rate / self.given - 1) > self._slack:
            return None
        if abs(rate / meant - 1) < TOLERANCE:
            return self._as_told(self.usual, told, pace)
        if (rate, hz) not in self.others:
            for (known, its), reading in self.others.items():
                # By another step clock lines change at other places in a step.
                alike = abs(its / hz - 1) < TOLERANCE
                if alike and (known == rate or (reading is not None and _keeps(reading, rate, known))):
                    return self._as_told(reading, told, pace)
            self._read_at(rate, told, pace)
        return self._as_told(self.others.get((rate, hz)), told, pace)

    def _as_told(self, reading: Readout | None, told: Prospect, pace: float) -> Readout | None:
        """The same; or, where what it was read by says not at which places in a step lines change, a reading by this
        prediction, which may say it."""
        if reading is None or reading.edges >= FEW_PLACED or self.still or self.capture.unit != "seconds":
            return reading
        lines = told.foretold.lines
        moving = frozenset(
            name for name in self.names if len(lines[name].times) > 1 and len(changes(told.foretold, name))
        )
        if not moving:
            return reading
        key = id(reading), moving
        if key not in self.placed:
            found = self._read(told, _scaled(self.capture, 1 / pace))
            self.placed[key] = found if found.recordings and found.edges > reading.edges else reading
        return self.placed[key]

    def _read_at(self, rate: float, told: Prospect, pace: float) -> None:
        """Read the recording by a clock at another rate, and remember it, but for a bench that is not as busy: another
        that steps as fast may be."""
        assert told.foretold.hz is not None
        if self._is_too_long(told.foretold, pace):
            return
        if not self.given and self.capture.period * rate > FASTEST:
            return  # all edges lie on the grid of the samples: a rate near theirs explains anything
        if not (self.given or self.still or self._is_as_busy(told.foretold, pace)):
            return
        found = None
        if self.given or self._is_likely(rate):
            found = self._read(told, _scaled(self.capture, 1 / pace))
        key = rate, told.foretold.hz
        self.others[key] = found if found is not None and found.recordings else None

    def may_step(self, rate: float) -> bool:
        """Whether the recording may be of a bench at another rate than was meant, in steps to a unit of its time."""
        meant = self.meant.foretold.hz
        if self.capture.unit != "seconds" or meant is None or abs(rate / meant - 1) < TOLERANCE:
            return False  # it foretells what was meant
        if self.given is not None:
            return abs(rate / self.given - 1) < TOLERANCE
        return self._is_likely(rate)

    def _is_likely(self, rate: float) -> bool:
        """Whether the edges keep to steps of this rate, or lie as far apart as is foretold by it; where hardly anything
        moves, any rate is."""
        if self.still or self.coherence(rate) > self._least:
            return True
        return any(abs(rate / other - 1) < TOLERANCE for other in self._by_instants)

    @cached_property
    def still(self) -> bool:
        """Whether the outputs hardly move, so that the recording may be of any clock."""
        return len(self._edges[-1]) <= STILL

    @cached_property
    def given(self) -> float | None:
        """The rate of the step line, where that was recorded: steps to a unit of the recording's time."""
        clock = self.usual.recordings[0].clock
        return clock.rate if clock is not None and clock.given else None

    @property
    def given_rate_is_off(self) -> bool:
        """Whether the step line was recorded at another rate than was meant."""
        meant = self.meant.foretold.hz
        return self.given is not None and meant is not None and abs(self.given / meant - 1) > self._slack

    @cached_property
    def _slack(self) -> float:
        """By how much the rate of a step line that was recorded may be off."""
        least, clock = HANDS if self.by_hand else TOLERANCE, self.usual.recordings[0].clock
        return room(clock, least) if clock else least

    def _read(self, told: Prospect, capture: Capture) -> Readout:
        found = read(told.golden, capture, self.board, step_line=self.step_line, start=told.up)
        if found.recordings and (not capture.timed or found.edges or self._steps_seen(found)):
            return found
        found = replace(found, recordings=(self._by(steady(found.scale), found),))
        self.clockless[id(found)] = []
        return found

    def _steps_seen(self, reading: Readout) -> bool:
        """Whether the step line was recorded and moves, spikes apart."""
        return self.step_line in reading.lines and len(reading.lines[self.step_line].times) > 1

    def rests_as(self, told: Foretold, reading: Readout, pace: float) -> bool:
        """Whether the lines of a recording in which nothing moves are foretold to rest for as long."""
        if reading.edges or reading.stated is not None:
            return True
        long = STILLNESS * self._steps(told, pace)
        for name, line in reading.lines.items():
            seen = set(line.levels.tolist()) - {UNKNOWN}
            still = len(line.levels) == 1 and len(seen) == 1 and name in told.lines
            if still and longest_rest(told, {name: seen.pop()}) < long:
                return False
        return True

    def shown(self, told: Prospect, clips: tuple[Clip, ...]) -> Foretold:
        """What channels show with these clips, once for each of the last ones that were asked about."""
        for known, its, found in self.clipped:
            if known is told.foretold and its is clips:
                return found
        shown = clipped(told.foretold, clips)
        self.clipped.append((told.foretold, clips, shown))
        return shown

    def rows(self, told: Foretold, reading: Readout) -> ReadRows:
        """A prediction as it is compared with a reading."""
        for known, by, rows in self.recent:
            if known is told and by is reading:
                return rows
        there = on_axis(told, reading.reference)
        if reading.stated is not None:
            rows = foretold_list(there, reading.moments.names)
        else:
            rows = predicted(there, reading.moments, reading.stray)
        self.recent.append((told, reading, rows))
        return rows

    def at_rest(self, told: Foretold, reading: Readout) -> tuple[Foretold, int]:
        """A prediction, and of how many lines it then says the level by what was recorded: where nothing steps the
        bench, an output that may be at any level stays at the one at which it woke up."""
        if told.hz is not None or reading.stated is not None:
            return told, 0
        woken = {
            name: RecordedLine(told.lines[name].times[:1], reading.lines[name].levels[:1])
            for name in self.names
            if len(reading.lines[name].levels) == 1 and (told.lines[name].levels == UNKNOWN).all()
        }
        return (replace(told, lines={**told.lines, **woken}) if woken else told), len(woken)

    def row_ticks(self, told: Foretold, rows: ReadRows, reading: Readout) -> list[Floats]:
        """At which ticks of a prediction the rows of each line are read; `rows` are its own."""
        if reading.stated is not None:
            begins = np.concatenate([[told.since], told.rises[told.rises > told.since]])
            ends = np.append(begins[1:], told.end) * told.unit
            return [ends - 0.5] * len(reading.moments.names)
        factor, shift = axis(told, reading.reference)
        found = []
        for places in reading.moments.places:
            at = np.zeros(len(rows.levels))
            for slot in range(rows.slots):
                steps = rows.first + np.arange(len(at[slot :: rows.slots]))
                at[slot :: rows.slots] = steps + places[min(slot, len(places) - 1)]
            found.append((at - shift) / factor * told.unit)
        return found

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
            fits = [(one, found) for one, found in both if found.places]
            self.fitted[key] = self._by_other_rates(rows, reading, fits)
        return self.fitted[key]

    def _by_other_rates(
        self, rows: ReadRows, reading: Readout, fits: list[tuple[Recording, Fit]]
    ) -> list[tuple[Recording, Fit]]:
        """The same, where the recording has no clock and is nearly as foretold, by the best rate that it may have."""
        if id(reading) not in self.clockless or not fits or not reading.edges:
            return fits
        wrong, compared = fits[0][1].best.mismatches, fits[0][1].best.compared.sum()
        if not 0 < wrong <= NEAR * compared:
            return fits
        others = self.clockless[id(reading)]
        if not others:
            long = (reading.bounds[1] - reading.bounds[0]) * reading.scale
            count = min(math.ceil(TOLERANCE * long / APART), MOST_RATES)
            for factor in np.linspace(1 - TOLERANCE, 1 + TOLERANCE, 2 * count + 1).tolist():
                others.append(self._by(steady(reading.scale * factor), reading))
        found = [(one, fit(one, rows, before=reading.before)) for one in others]
        best = max(found, key=lambda pair: pair[1].bits)
        return [best] if best[1].bits > fits[0][1].bits else fits

    def _by(self, clock: Clock, reading: Readout) -> Recording:
        rows = recorded(reading.lines, reading.moments, clock, reading.bounds, 0.1)
        return timed(reading.moments, rows, clock)

    def times_bits(self, recording: Recording, reading: Readout) -> float:
        """What it costs to say when in its steps the edges of a recording come: the logarithm of what they keep within,
        in the recording's own time, which is a whole step where no clock was found. Spikes may come at any time, and so
        may edges that no row shows, which are told from them."""
        clock = recording.clock
        if clock is None or not self.capture.timed:
            return 0.0
        long = self.capture.end - self.capture.start
        times = np.concatenate([np.zeros(0), *(_sure(reading.lines[name]) for name in self.names)])
        instants = int((np.diff(np.sort(times)) * clock.rate > INSTANT).sum()) + 1
        within = 1.0
        if clock.sigma and instants > FITTED:
            few = math.sqrt(instants / (instants - FITTED))
            spread, stray = (max(its * few, LEAST_SPREAD) for its in (clock.spread, clock.stray))
            within = min(NORMAL * spread, EVENLY * stray, 1.0)
        rate = clock.rate * (reading.bounds[1] - reading.bounds[0]) / long
        shown = min(_edges_shown(recording), self._every_edge)
        hidden = max(self._lasting - shown, 0)
        spikes = self._every_edge - shown - hidden
        anywhere = sum(some * math.log2(math.e * long / some) for some in (hidden, spikes) if some)
        return shown * math.log2(within / rate) + anywhere

    @cached_property
    def _every_edge(self) -> int:
        return sum(len(_sure(self.capture.lines[name])) for name in self.names)

    @cached_property
    def _lasting(self) -> int:
        """How many edges the recording has that are not of spikes, by the rate that was meant or by its usual runs."""
        runs = [np.diff(_sure(self.capture.lines[name])) for name in self.names]
        every = np.concatenate([np.zeros(0), *runs])
        short = SHORT * float(np.quantile(every, 0.75)) if len(every) else 0.0
        without = {name: without_spikes(self.capture.lines[name], short) for name in self.names}
        return min(
            sum(len(_sure(lines[name])) for name in self.names) for lines in (without, self.usual.lines)
        )

    # Rates

    def coherence(self, rate: float) -> float:
        """How nearly the first edges lie at one place in steps of this rate, give or take the tolerance: 1 where they
        do."""
        best = 0.0
        for spectrum, width in self._spectra:
            low, high = (int(rate * side / width) for side in (1 - TOLERANCE, 1 + TOLERANCE))
            best = max(best, float(spectrum[low : high + 2].max(initial=0.0)))
        return best

    def free_paces(self) -> list[float]:
        """Paces at which the edges lie at one place in a step of the bench that was meant, the most coherent first."""
        hz = self.meant.foretold.hz
        if hz is None or self.capture.unit != "seconds":
            return []
        if self.given is not None:
            return [hz / self.given] if self.given_rate_is_off else []
        if self.still:
            return list(ANY)
        peaks: list[tuple[float, float]] = []
        for spectrum, width in self._spectra:
            at = np.arange(len(spectrum)) * width
            fastest = FASTEST / self.capture.period if self.capture.period else np.inf
            free = (at > hz / WIDEST) & (at < min(hz * WIDEST, fastest)) & (np.abs(at / hz - 1) > TOLERANCE)
            some = np.where(free, spectrum, 0.0)
            tops = np.flatnonzero((some[1:-1] >= some[:-2]) & (some[1:-1] > some[2:])) + 1
            peaks += [(float(some[top]), float(at[top])) for top in tops if some[top] > self._least]
        peaks = [peak for peak in peaks if peak[0] > NEARLY] or sorted(peaks)[-AT_LEAST:]
        found: list[float] = []
        for rate in (*self._by_instants, *(rate for _, rate in sorted(peaks, reverse=True))):
            pace = hz / rate
            if all(abs(pace / other - 1) > TOLERANCE for other in (1.0, *found)) and self._is_as_busy(
                self.meant.foretold, pace
            ):
                found.append(pace)
            if len(found) == RATES:
                break
        return found

    @cached_property
    def _by_instants(self) -> list[float]:
        """Rates at which the few instants of the recording are as far apart as those that are foretold, in steps to a
        unit of its time."""
        edges, told = self._edges[-1], self.meant.foretold
        seen = _instants(edges, ALONE * float(np.ptp(edges))) if len(edges) else edges
        if not FEW_INSTANTS <= len(seen) <= MANY_INSTANTS:
            return []
        due = _instants(np.sort(every_change(told, self.names)), 1.0)
        found = []
        for begin in range(min(len(due) - len(seen) + 1, WINDOWS)):
            window = due[begin : begin + len(seen)]
            rate = float(np.ptp(window) / np.ptp(seen))
            if np.abs((seen - seen[0]) * rate - (window - window[0])).max() < 1.0:
                found.append(rate)
        return found

    @cached_property
    def _edges(self) -> list[Floats]:
        """The first edges of the outputs; and those that are left without what is so short that it may be spikes."""
        runs = [np.diff(_sure(self.capture.lines[name])[:FIRST]) for name in self.names]
        every = np.concatenate([np.zeros(0), *runs])
        short = SHORT * float(np.quantile(every, 0.75)) if len(every) else 0.0
        found = []
        for least in (0.0, short):
            sure = [_sure(without_spikes(self.capture.lines[name], least))[:FIRST] for name in self.names]
            times: Floats = np.sort(np.concatenate([np.zeros(0), *sure]))[:FIRST]
            found.append(times)
        return found[:1] if len(found[0]) == len(found[1]) else found

    @cached_property
    def _spectra(self) -> list[tuple[Floats, float]]:
        """The length of the mean vector of the edges, by rate, and how far two rates are apart."""
        return [self._spectrum(times) for times in self._edges if len(times) > 1]

    def _spectrum(self, times: Floats) -> tuple[Floats, float]:
        hz = self.meant.foretold.hz or 1.0
        span = float(np.ptp(times)) or 1.0
        cell = max(1 / (hz * WIDEST * CELLS), span / (1 << 21))
        count = scipy.fft.next_fast_len(int(2 * span / cell) + 2, real=True)
        marks = np.bincount(((times - times[0]) / cell).astype(np.int64), minlength=count).astype(np.float64)
        found: Floats = np.abs(scipy.fft.rfft(marks)) / len(times)
        return found, 1 / (count * cell)

    @cached_property
    def _least(self) -> float:
        count = len(self._edges[-1])
        return max(COHERENT, CHANCE / math.sqrt(count)) if count > FEWEST else 0.0

    def _steps(self, told: Foretold, pace: float) -> float:
        """How many steps of this prediction the recording lasts by an instrument that counts at this pace."""
        return (self.capture.end - self.capture.start) * told.oscillator_hz / told.unit / pace

    def _is_too_long(self, told: Foretold, pace: float) -> bool:
        """Whether most of the recording would lie beside the prediction, as only one of the restart itself may."""
        inputs = any(name in INPUT_LINES for name in self.capture.lines)
        return not inputs and self._steps(told, pace) > TOO_LONG * (told.end - told.since)

    def _is_as_busy(self, told: Foretold, pace: float) -> bool:
        """Whether the recording moves about as often as is foretold at this rate, if that is foretold."""
        if any(told.lines[name].levels[-1] == UNKNOWN for name in self.names):
            return True
        long = self._steps(told, pace)
        seen = len(self._edges[-1])
        if seen == FIRST:
            seen = sum(len(self.capture.lines[name].times) - 1 for name in self.names)
        due = sum(len(changes(told, name)) for name in self.names) * long / max(told.end - told.since, 1.0)
        return (seen + FEW) / BUSY < due + FEW < (seen + FEW) * BUSY


def _instants(times: Floats, apart: float) -> Floats:
    """The first of rising times, and each that lies further than so much behind the one before."""
    return times[np.diff(times, prepend=-np.inf) > apart]


def _edges_shown(recording: Recording) -> int:
    """How often an output changes from one row to the next."""
    outputs = mask_of(recording.moments.names, OUTPUT_LINES)
    return int(np.bitwise_count(recording.rows.moved & outputs).sum())


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
