"""A recording in the form in which predictions are compared with it: read by its clocks, or as the list that it is.

The clock is the recorded step line's, where that was recorded and keeps to one, else one by which the edges of the
outputs keep to their places in a step. Several may do that: then there is a reading for each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from forelight.sim.levels import UNKNOWN

from ..boards.profile import Board
from ..capture.record import Capture, Floats, Ints, RecordedLine
from ..capture.step_line import step_clock
from ..golden.golden import Golden
from .clean import shortest_run, without_frays, without_spikes
from .clock import WIDE, Clock, clocks, credit, keeping
from .closer import closer
from .fit import NEVER, Fit, fit, summed
from .placement import Recording, timed, written
from .reference import Foretold, reference
from .rows import (
    Moments,
    ReadRows,
    every_change,
    foretold_list,
    moments,
    moves,
    predicted,
    recorded,
    seen_list,
)

AS_SHORT = 1.25  # lest what the recording's clean-up takes out just stays in the prediction
LONGER, MOST_BEFORE = 1.2, 64.0  # a clock by which a recording is longer, beside some steps, is none
FASTEST = 0.4  # steps to a sample, where the rate is not known
CLOSER = 6  # clocks that are corrected
FEW = 3  # edges that are needed
MOST_EDGES = 1 << 20  # by which a clock is found; where there are more, so many of them
REGULAR = 0.6  # the mean vector of edges that come at one place in a step
LOOKED_AT = 4096  # edges of a kind that tell where that is
SLACK = 0.001  # of a rate: the board's own oscillator, and rounding
SPIKE = 0.05  # of a step, by which one beside an edge can shift that


@dataclass(frozen=True)
class Readout:
    """A recording by one or more clocks, the best first, and the prediction that their moments were taken from.

    `rows` are those of that prediction; `scale` is how many predicted steps there are to a unit of the recording's
    time, `edges` how many changes the recording has that tell its clock. A list should begin at the row `stated`, and a
    recording whose inputs were played begins at the row `pinned`.

    How causes are asked about, each with one more prediction in the place of `reading.rows`:

        reading = read(golden, capture, board, start=start)
        reading.null_bits                                  # without knowing any design
        reading.bits(reading.rows)                         # saved as foretold, over all clocks and places
        reading.bits(reading.foretold(other_golden))       # and under a cause, to be compared with that less its prior
        fit(reading.recordings[0], rows).best.wrong        # by line, at the best place by the best clock
    """

    recordings: tuple[Recording, ...]
    moments: Moments
    reference: Foretold
    rows: ReadRows
    lines: Mapping[str, RecordedLine]
    scale: float
    stray: float
    edges: int
    step_line: str
    before: bool = False
    stated: int | None = None
    pinned: int | None = None
    bounds: tuple[float, float] = (0.0, 0.0)
    in_seconds: bool = False

    def foretold(self, golden: Golden, start: int | None = None) -> ReadRows:
        """Another prediction in the form in which `fit` wants it: of another design, or of this one with a fault.

        `start` is the tick at which the slot is up in it, where that is not as in the first one.
        """
        first = self.reference
        begins = round(first.freed * first.unit + 1.5) if start is None else start
        other = reference(golden, self.step_line, first.end * first.unit, self.lines, begins)
        # Time counts in the first one's steps, however long its own are.
        other = other.in_units(first.unit)
        if self.stated is not None:
            return foretold_list(other, self.moments.names)
        return predicted(other, self.moments, self.stray)

    @property
    def null_bits(self) -> float:
        """The length of the recording without a prediction, by its best clock."""
        return self.recordings[0].null_bits if self.recordings else 0.0

    def proved(self, bits: float, mask: int) -> float:
        """What is left of the `bits` that are saved in all, without those that lines save which prove nothing of the
        design, a bit each."""
        if not mask:
            return bits
        silent = tuple(one.of_lines(mask) for one in self.recordings)
        if not any(one.null_bits for one in silent):
            return bits
        return bits - max(replace(self, recordings=silent).own[0], 0.0)

    def bits(self, rows: ReadRows) -> float:
        """What a prediction saves, over all clocks and places."""
        return self.laid(rows)[0]

    def closer(self) -> Readout:
        """The same, read by better clocks where little differs by those at hand."""
        fits = self.own[1]
        recordings = list(self.recordings)
        order = sorted(range(len(fits)), key=lambda n: -fits[n].bits)
        for number in order[:CLOSER]:
            found = fits[number]
            if found.places and found.best.mismatches:
                its = replace(found, bits=found.bits + recordings[number].handicap)
                args = (self.lines, self.reference, self.bounds, self.before)
                recordings[number] = closer(recordings[number], self.rows, its, *args)[0]
        same = all(one is other for one, other in zip(recordings, self.recordings, strict=True))
        return self if same else replace(self, recordings=tuple(recordings))

    @cached_property
    def own(self) -> tuple[float, list[Fit]]:
        """The same as `laid` of the prediction that it was read with."""
        return self.laid(self.rows)

    def laid(self, rows: ReadRows) -> tuple[float, list[Fit]]:
        """The same, and the fit by each clock, its handicap and the choice among clocks taken off."""
        share = math.log2(max(len(self.recordings), 1))
        fits = []
        for recording in self.recordings:
            found = fit(recording, rows, before=self.before, stated=self.stated, pinned=self.pinned)
            fits.append(replace(found, bits=found.bits - recording.handicap - share))
        return (summed([found.bits for found in fits]) if fits else NEVER), fits


def read(
    golden: Golden,
    capture: Capture,
    board: Board,
    *,
    step_line: str | None = None,
    tolerance: float = 0.02,
    start: int = 0,
    wide: bool = False,
    played: bool = False,
) -> Readout:
    """A recording as a golden is compared with it, by clocks within the tolerance of the predicted rate; `wide` has it
    read by clocks at any rate. The other arguments are those of `check`."""
    line = step_line or board.step_line
    line = "step" if line == "own" else line
    seconds = capture.end - capture.start if capture.unit == "seconds" else 0.0
    theirs = reference(golden, line, seconds * golden.oscillator_hz * 1.1, capture.lines, start)
    if not capture.timed:
        return _listed(capture, theirs, line)
    if wide or capture.unit != "seconds":
        return _timed(capture, theirs, line, (1 / WIDE, WIDE), played)
    return _timed(capture, theirs, line, (1 - tolerance - SLACK, 1 + tolerance + SLACK), played)


def _listed(capture: Capture, theirs: Foretold, line: str) -> Readout:
    """A list that an eye wrote down."""
    names = tuple(name for name in capture.lines if name in theirs.lines)
    rows = seen_list(capture.lines, names, capture.start, capture.end)
    foretold = foretold_list(theirs, names)
    recording = written(names, rows, capture.signs)
    stated = rows.first - foretold.first
    return Readout(
        (recording,), recording.moments, theirs, foretold, capture.lines, 1.0, 0.0, 0, line, stated=stated
    )


def _timed(
    capture: Capture, theirs: Foretold, step_line: str, rates: tuple[float, float], played: bool
) -> Readout:
    """A recording with times, by clocks that run at one of these `rates`, of the predicted one; its inputs may have
    been `played`."""
    low, high = rates
    steps = capture.lines.get(step_line)
    own = step_clock(steps) if steps and theirs.hz else None
    scale = own.rate if own else _scale(capture, theirs)
    shortest = shortest_run(1 / scale, capture.period)
    lines = {
        name: without_frays(without_spikes(line, shortest), shortest, capture.end)
        for name, line in capture.lines.items()
        if name in theirs.lines
    }
    # What is as short as a spike is taken out of the prediction too: a switch that stood otherwise for a moment, say.
    theirs = theirs.without_short(shortest * AS_SHORT * scale, step_line)
    pins = played and own is not None
    names = tuple(name for name in lines if name != step_line and not (pins and name in INPUT_LINES))
    at = moments(theirs, names)
    times, phases = _edges({name: lines[name] for name in names}, theirs)
    if own:
        start = _usual_phase(theirs.rises)
        clock = Clock(own.capture, own.steps + start, own.rate, own.sigma, own.phase, 0.3, given=True)
        near = low < own.rate / (theirs.hz or own.rate) < high
        found = [keeping(clock, times, phases, credit(low, high) if near else 0.0)]
    elif len(times) >= FEW and times[-1] > times[0]:
        # All edges lie on the grid of the samples: a rate near theirs explains anything.
        fastest = FASTEST / capture.period if capture.period and high > 2 * low else high * scale
        found = clocks(times, phases, low * scale, max(min(high * scale, fastest), 1.01 * low * scale))
    else:
        found = []
    stray = found[0].stray if found else 0.0
    blur = SPIKE if shortest > 0 else 0.0
    bounds = (capture.start, capture.end)
    foretold = predicted(theirs, at, stray + blur)
    readings = []
    longest = LONGER * len(foretold.levels) / foretold.slots + MOST_BEFORE
    for number, clock in enumerate(found):
        # The likeliest may say that the recording is longer than the prediction, but not how many years.
        if clock.rate * (capture.end - capture.start) > longest * (1.0 if number else WIDE):
            continue
        readings.append(timed(at, recorded(lines, at, clock, bounds, blur), clock))
    before = theirs.onward > 0
    return Readout(
        tuple(readings),
        at,
        theirs,
        foretold,
        lines,
        scale,
        stray + blur,
        len(times),
        step_line,
        before,
        pinned=_pinned(readings[0], theirs, steps, capture.start) if pins and steps and readings else None,
        bounds=bounds,
        in_seconds=capture.unit == "seconds",
    )


def _pinned(recording: Recording, theirs: Foretold, steps: RecordedLine, start: float) -> int:
    """The row in which a recording lies whose first rise is the prediction's first once the set-up is over."""
    rises = steps.times[(steps.levels == 1) & (steps.times > start)]
    assert recording.clock is not None
    phase = theirs.onward % 1.0
    first = round(float(recording.clock.steps(rises[:1])[0]) - phase)
    shift = round(theirs.onward - phase) - first
    return (shift + recording.rows.first - int(np.floor(theirs.since))) * recording.rows.slots


def _scale(capture: Capture, theirs: Foretold) -> float:
    """Predicted steps to a unit of the recording's time; a guess where nothing says it: the shortest run is a step."""
    if capture.unit == "seconds":
        return theirs.oscillator_hz / theirs.unit
    runs = [np.diff(line.times) for line in capture.lines.values() if len(line.times) > 2]
    return 1 / float(min((run.min() for run in runs), default=1.0))


def _usual_phase(rises: Floats) -> float:
    """Where in a step these come: the first may be made by a hand that sets the switches for the strap code, and one
    that makes all steps loses a little time with each move of a switch."""
    last = float(rises[-1])
    return (last + float(np.median((rises - last + 0.5) % 1.0 - 0.5))) % 1.0


def _edges(lines: Mapping[str, RecordedLine], reference: Foretold) -> tuple[Floats, Floats]:
    """When known levels change, in order, where a line's edges in that direction come at one place in a step; and where
    that is. Those of a line that is foretold to rest come where the others do."""
    times, phases = [np.zeros(0)], [np.zeros(0)]
    one_of = max(sum(len(line.times) for line in lines.values()) / MOST_EDGES, 1.0)
    everything: Floats | None = None
    for name, line in lines.items():
        edges, levels = moves(reference, name)
        for level in (0, 1):
            rows: Ints = np.flatnonzero((line.levels[1:] == level) & (line.levels[:-1] != UNKNOWN)) + 1
            rows = (
                rows[(np.arange(int(len(rows) / one_of)) * one_of).astype(np.int64)] if one_of > 1 else rows
            )
            same = edges[levels == level][:LOOKED_AT]
            if not len(same):
                everything = every_change(reference, lines, LOOKED_AT) if everything is None else everything
                same = everything
            mean = np.exp(2j * np.pi * same).mean() if len(same) else 0.0
            if abs(mean) > REGULAR:
                times.append(line.times[rows])
                phases.append(np.full(len(rows), np.angle(mean) / (2 * np.pi)))
    time, phase = np.concatenate(times), np.concatenate(phases)
    order = np.argsort(time, kind="stable")
    return time[order], phase[order]
