"""Compares a capture with a golden, step by step and line by line, once the time base is known.

Theory of operation. Each line has moments at which it cannot be changing: half-way between the instants, counted from
the step's rise, at which it does change somewhere in the golden. There the two are compared, once a step (twice for a
line that also follows the falling edge). A bit is compared only where the golden is settled and keeps still for as
long as edges stray, and where the capture has no gap; a bit that differs is set aside, as one that cannot be told,
where an edge of the capture is so near that the uncertainty of the time base could have put it on the other side.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .record import GAP, Floats, Line
from .reference import Ints, Reference
from .timebase import TimeBase

STILL = 0.45  # a line that keeps still for this part of a step on both sides is compared whatever the jitter


@dataclass(frozen=True)
class Differences:
    """Bits that differ: golden time, index into `names`, levels, number of the step that made the bit; in order of
    time."""

    names: tuple[str, ...]
    time: Floats
    line: Ints
    expected: NDArray[np.uint8]
    seen: NDArray[np.uint8]
    step: Ints


@dataclass(frozen=True)
class Comparison:
    """`steps` cells were compared, `bits` bits in them; `doubtful` bits differ but cannot be told; `moving` lines
    changed."""

    steps: int
    bits: int
    doubtful: int
    differences: Differences

    @property
    def merit(self) -> tuple[int, int]:
        """How many lines agree throughout, and how many bits agree: the more, the better the alignment."""
        wrong = len(np.unique(self.differences.line))
        return len(self.differences.names) - wrong, self.bits - len(self.differences.time)


def compare(
    lines: Mapping[str, Line], golden: Reference, base: TimeBase, bounds: tuple[float, float], blur: float
) -> Comparison:
    """Compare the lines (in capture time, observed within `bounds`) with the golden.

    `blur` is how far a spike beside an edge can shift it, in steps: the distance of two samples, where there can be
    spikes.
    """
    start, end = bounds
    low, high = base.to_golden(np.array([start, end]))
    cells = golden.cells()
    cells = cells[(cells > low - 1) & (cells < high)]
    names = tuple(name for name in lines if name in golden.lines)
    compared = np.zeros(len(cells), bool)
    bits = doubtful = 0
    found: list[tuple[NDArray[Any], ...]] = []
    when: dict[float, tuple[Floats, Floats]] = {}
    outputs = _together(
        [golden.lines[f"o{bit}"] for bit in range(8)]
    )  # a line that never changes would change with them
    for number, name in enumerate(names):
        line, theirs = lines[name], golden.lines[name]
        phases = _still_phases(theirs, golden) or _still_phases(outputs, golden) or [(0.5, 0.49)]
        stray = _stray(line, theirs, base)
        for phase, half in phases:
            if phase not in when:
                moment = cells + phase
                when[phase] = moment, base.to_capture(moment)
            moment, capture_time = when[phase]
            expected, seen = theirs.at(moment), line.at(capture_time)
            judged = (capture_time > start) & (capture_time < end) & (moment > 0) & (moment < golden.end)
            judged &= (expected != GAP) & (seen != GAP)
            still = _distance(theirs.times[1:], moment)
            judged &= still > np.minimum(STILL, 1.5 * stray + base.doubt(capture_time))
            rows = np.flatnonzero(judged & (expected != seen))
            unsure = _unsure(line, theirs, base, capture_time[rows], blur)
            judged[rows[unsure]] = False
            doubtful += int(unsure.sum())
            rows = rows[~unsure]
            if len(phases) == 1:
                beside = _beside(line, theirs, base, capture_time, blur)
                beside = beside[judged[beside] & ~np.isin(beside, rows)]
                seen[beside] = 1 - seen[beside]
                rows = np.concatenate([rows, beside[expected[beside] != seen[beside]]])
            bits += int(judged.sum())
            compared |= judged
            found.append(
                (moment[rows], np.full(len(rows), number), expected[rows], seen[rows], moment[rows] - half)
            )
    time, of_line, expected, seen, since = (
        np.concatenate([f[i] for f in found] or [np.zeros(0)]) for i in range(5)
    )
    order = np.lexsort((of_line, time))
    differences = Differences(
        names,
        time[order],
        of_line[order].astype(np.int64),
        expected[order],
        seen[order],
        golden.step_at(since[order]),
    )
    return Comparison(int(compared.sum()), bits, doubtful, differences)


def _stray(line: Line, theirs: Line, base: TimeBase) -> float:
    """How far from the golden's edges the line's own edges keep, all but one in a hundred."""
    if len(line.times) < 3:
        return base.reach
    distance = _distance(theirs.times[1:], base.to_golden(line.times[1:4096]))
    return max(base.reach, float(np.quantile(np.minimum(distance, 0.5), 0.99)))


def _partnerless(line: Line, theirs: Line, base: TimeBase, edges: Ints, blur: float) -> NDArray[np.bool_]:
    """Whether these edges of a line are so far from any golden edge in their direction that jitter does not explain
    it."""
    alone = np.zeros(len(edges), bool)
    at = base.to_golden(line.times[edges])
    for level in (0, 1):
        same = theirs.times[1:][(theirs.levels[1:] == level) | (theirs.levels[1:] == GAP)]
        rows = line.levels[edges] == level
        alone[rows] = _distance(same, at[rows]) > 0.5 + base.doubt(line.times[edges[rows]]) + blur
    return alone


def _unsure(line: Line, theirs: Line, base: TimeBase, times: Floats, blur: float) -> NDArray[np.bool_]:
    """Whether an edge that belongs to a golden one lies so near that it may stand on the wrong side of these times."""
    if len(line.times) < 2:
        return np.zeros(len(times), bool)
    after = np.clip(np.searchsorted(line.times, times), 1, len(line.times) - 1)
    before = np.maximum(after - 1, 1)
    unsure = np.zeros(len(times), bool)
    for edge in (before, after):
        near = np.abs(line.times[edge] - times) * base.rate < base.doubt(times) + blur
        unsure |= near & ~_partnerless(line, theirs, base, edge, blur)
    return unsure


def _beside(line: Line, theirs: Line, base: TimeBase, times: Floats, blur: float) -> Ints:
    """The moments nearest to short pulses of the capture that fall between two moments and have no golden partner."""
    if len(line.times) < 3 or not len(times):
        return np.zeros(0, np.int64)
    slot = np.searchsorted(times, line.times)
    pulse = np.flatnonzero((slot[1:-1] == slot[2:]) & (line.levels[1:-1] != GAP)) + 1
    alone = _partnerless(line, theirs, base, pulse, blur) & _partnerless(line, theirs, base, pulse + 1, blur)
    pulse = pulse[alone & (slot[pulse] > 0) & (slot[pulse] < len(times))]
    after = slot[pulse]
    earlier = line.times[pulse] - times[after - 1] < times[after] - line.times[pulse + 1]
    return np.unique(np.where(earlier, after - 1, after)).astype(np.int64)


def _still_phases(line: Line, golden: Reference) -> list[tuple[float, float]]:
    """Where in a step the line does not change: the middles of the gaps between the phases of its changes, and half
    their lengths.
    """
    real = (line.levels[1:] != GAP) & (line.levels[:-1] != GAP)
    times = line.times[1:][real][:4096]
    if not len(times) or not len(golden.rises):
        return []
    before = np.searchsorted(golden.rises, times + 1e-6, side="right") - 1
    phase = np.sort((times - golden.rises[np.maximum(before, 0)]) % 1.0)
    phase = np.sort(np.where(phase > 1 - 1e-4, 0.0, phase))
    gaps = np.diff(np.r_[phase, phase[0] + 1])
    largest = np.flatnonzero(gaps > 0.3)
    if not len(largest):
        largest = np.array([int(np.argmax(gaps))])
    middles = np.round((phase + gaps / 2) % 1.0 * 1024) / 1024
    return [(float(middles[at]), 0.49 * float(gaps[at])) for at in largest]


def _together(lines: list[Line]) -> Line:
    """A stand-in that changes where any of the lines does."""
    times = [line.times[1:][(line.levels[1:] != GAP) & (line.levels[:-1] != GAP)][:4096] for line in lines]
    every = np.unique(np.concatenate([[-1.0], *times]))
    return Line(every, (np.arange(len(every)) & 1).astype(np.uint8))


def _distance(edges: Floats, times: Floats) -> Floats:
    """From each time to the nearest edge."""
    if not len(edges):
        return np.full(len(times), np.inf)
    after = np.searchsorted(edges, times)
    ahead = edges[np.minimum(after, len(edges) - 1)] - times
    behind = times - edges[np.maximum(after - 1, 0)]
    return np.minimum(np.abs(ahead), np.abs(behind))
