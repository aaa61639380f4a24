"""Compares a capture with a golden, step by step and line by line, once the time base is known.

Theory of operation. Each line has moments at which it cannot be changing: half-way between the instants, counted from
the step's rise, at which it does change somewhere in the golden. There the two are compared, once a step (twice for a
line that also follows the falling edge). A bit is compared only where the golden is settled and keeps still for as
long as edges stray, and where the capture has no gap; a bit that differs is set aside, as one that cannot be told,
where an edge of the capture is so near that the uncertainty of the time base could have put it on the other side.

Nothing is compared before the last step of the set-up: a hand makes that at its own pace, and holds restart for as
long as it likes. In that step it lets go somewhere; so a line is compared there only if letting go does not move it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from ..capture.record import Floats, Ints, Levels, RecordedLine, places
from .reference import Reference
from .timebase import TimeBase

LOOKED_AT = 4096  # changes that tell where in a step a line keeps still
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

    @staticmethod
    def none() -> Differences:
        whole, levels = np.zeros(0, np.int64), np.zeros(0, np.uint8)
        return Differences((), np.zeros(0), whole, levels, levels, whole)


@dataclass(frozen=True)
class Comparison:
    """`steps` cells were compared, `bits` bits in them; `doubtful` bits differ but cannot be told; `moving` lines
    changed."""

    steps: int
    bits: int
    doubtful: int
    differences: Differences

    @property
    def clean(self) -> int:
        """How many lines agree throughout."""
        return len(self.differences.names) - len(np.unique(self.differences.line))


def compare(
    lines: Mapping[str, RecordedLine],
    golden: Reference,
    base: TimeBase,
    bounds: tuple[float, float],
    blur: float,
) -> Comparison:
    """Compare the lines (in capture time, observed within `bounds`) with the golden.

    `blur` is how far a spike beside an edge can shift it, in steps: the distance of two samples, where there can be
    spikes.
    """
    low, high = base.to_golden(np.array(bounds))
    cells = golden.cells()
    cells = cells[(cells > low - 1) & (cells < high)]
    if not len(cells):
        return Comparison(0, 0, 0, Differences.none())
    names = tuple(name for name in lines if name in golden.lines)
    compared = np.zeros(len(cells), bool)
    bits = doubtful = 0
    found: list[tuple[NDArray[Any], ...]] = []
    moments: dict[float, _Moments] = {}
    for number, name in enumerate(names):
        phases = _phases(name, golden)
        for phase, half in phases:
            if phase not in moments:
                moments[phase] = _moments(cells + phase, golden, base, bounds)
            at = moments[phase]
            theirs = golden.lines[name]
            free = _let_go(theirs, golden, at)
            judged, wrong, unsure = _one_line(lines[name], theirs, base, at, blur, free, len(phases) == 1)
            bits += int(judged.sum())
            doubtful += unsure
            compared |= judged
            time = at.golden[np.flatnonzero(wrong)]
            found.append((time, np.full(len(time), number), golden.lines[name].at(time), time - half))
    time, line, expected, since = (np.concatenate([f[i] for f in found] or [np.zeros(0)]) for i in range(4))
    order = np.lexsort((line, time))
    expected = expected[order].astype(np.uint8)
    step = golden.step_at(since[order])
    differences = Differences(names, time[order], line[order].astype(np.int64), expected, 1 - expected, step)
    return Comparison(int(compared.sum()), bits, doubtful, differences)


@dataclass(frozen=True)
class _Moments:
    """Times at which bits are compared, as golden and capture count them; which of them are observed; how sure each
    is."""

    golden: Floats
    capture: Floats
    inside: NDArray[np.bool_]
    doubt: Floats


def _moments(
    golden_times: Floats, golden: Reference, base: TimeBase, bounds: tuple[float, float]
) -> _Moments:
    times = base.to_capture(golden_times)
    inside = (times > bounds[0]) & (times < bounds[1])
    inside &= (golden_times > max(golden.since, 0.0)) & (golden_times < golden.end)
    return _Moments(golden_times, times, inside, base.doubt(times))


def _one_line(
    line: RecordedLine,
    theirs: RecordedLine,
    base: TimeBase,
    at: _Moments,
    blur: float,
    free: slice,
    once: bool,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], int]:
    """Which bits are judged, which of those are wrong, and how many cannot be told.

    The bench is free to show what it likes at the moments `free`; there is one moment to a step, if `once`, or more.
    """
    expected, golden_slot = _levels_at(theirs, at.golden)
    seen, slot = _levels_at(line, at.capture)
    judged = at.inside & (expected != UNKNOWN) & (seen != UNKNOWN)
    judged[free] = False
    judged[_near_edges(theirs, golden_slot[1:], at, 2 * _stray(line, theirs, base) + blur)] = False
    wrong = judged & (expected != seen)
    rows = np.flatnonzero(wrong)
    rows = rows[_unsure(line, theirs, base, at.capture[rows], blur)]
    judged[rows] = wrong[rows] = False
    if once:
        beside = _beside(line, theirs, base, at.capture, slot, blur)
        beside = beside[judged[beside]]
        wrong[beside] = ~wrong[
            beside
        ]  # there the pulse has the level that the line does not have at the moment itself
    return judged, wrong, len(rows)


def _let_go(theirs: RecordedLine, golden: Reference, at: _Moments) -> slice:
    """The moments in the step in which restart is let go, if the line moves then."""
    moves = np.diff(np.searchsorted(theirs.times, [golden.freed, golden.onward]))[0] > 0
    return slice(*np.searchsorted(at.golden, [golden.since, golden.onward + STILL])) if moves else slice(0)


def _near_edges(theirs: RecordedLine, slot: Ints, at: _Moments, stray: float) -> Ints:
    """The moments beside which the golden changes, as near as edges `stray` and the time base may be off."""
    most = min(STILL, stray + float(at.doubt.max()))
    near = []
    for side in (slot, slot - 1):
        inner = slice(*np.searchsorted(side, [0, len(at.golden)]))
        distance = theirs.times[1:][inner] - at.golden[side[inner]]
        rows = np.flatnonzero(np.abs(distance, out=distance) <= most)
        found = side[inner][rows]
        near.append(found[distance[rows] <= np.minimum(STILL, stray + at.doubt[found])])
    return np.concatenate(near)


def _levels_at(line: RecordedLine, times: Floats) -> tuple[Levels, Ints]:
    """The line's level at these rising times, and how many of them come before each of its changes."""
    slot = places(times, line.times)
    runs = np.diff(np.concatenate([[0], slot, [len(times)]]))
    return np.repeat(np.concatenate([[np.uint8(UNKNOWN)], line.levels]), runs), slot


def _stray(line: RecordedLine, theirs: RecordedLine, base: TimeBase) -> float:
    """How far from the golden's edges the line's own edges keep, all but one in a hundred."""
    if len(line.times) < 3:
        return base.reach
    distance = _distance(theirs.times[1:], base.to_golden(line.times[1:4096]))
    return max(base.reach, float(np.quantile(np.minimum(distance, 0.5), 0.99)))


def _partnerless(
    line: RecordedLine, theirs: RecordedLine, base: TimeBase, edges: Ints, blur: float
) -> NDArray[np.bool_]:
    """Whether these edges of a line are so far from any golden edge in their direction that jitter does not explain
    it."""
    alone = np.zeros(len(edges), bool)
    if not len(edges):
        return alone
    at = base.to_golden(line.times[edges])
    for level in (0, 1):
        same = theirs.times[1:][(theirs.levels[1:] == level) | (theirs.levels[1:] == UNKNOWN)]
        rows = line.levels[edges] == level
        alone[rows] = _distance(same, at[rows]) > 0.5 + base.doubt(line.times[edges[rows]]) + blur
    return alone


def _unsure(
    line: RecordedLine, theirs: RecordedLine, base: TimeBase, times: Floats, blur: float
) -> NDArray[np.bool_]:
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


def _beside(
    line: RecordedLine, theirs: RecordedLine, base: TimeBase, times: Floats, slot: Ints, blur: float
) -> Ints:
    """The moments nearest to short pulses of the capture that fall between two moments and have no golden partner."""
    pulse = np.flatnonzero((slot[1:-1] == slot[2:]) & (line.levels[1:-1] != UNKNOWN)) + 1
    pulse = pulse[(slot[pulse] > 0) & (slot[pulse] < len(times))]
    alone = _partnerless(line, theirs, base, pulse, blur) & _partnerless(line, theirs, base, pulse + 1, blur)
    pulse = pulse[alone]
    after = slot[pulse]
    earlier = line.times[pulse] - times[after - 1] < times[after] - line.times[pulse + 1]
    return np.unique(np.where(earlier, after - 1, after)).astype(np.int64)


def _phases(name: str, golden: Reference) -> list[tuple[float, float]]:
    """Where in a step a line keeps still; one that never changes would change when the others do."""
    if name not in golden.still:
        line = golden.lines[name]
        golden.still[name] = (
            _still_phases(_known_changes(line), golden)
            or _still_phases(_output_changes(golden), golden)
            or [(0.5, 0.49)]
        )
    return golden.still[name]


def _still_phases(times: Floats, golden: Reference) -> list[tuple[float, float]]:
    """Where in a step a line that changes at these times does not change: the middles of the gaps between their phases,
    and half the lengths of these.
    """
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


def _known_changes(line: RecordedLine) -> Floats:
    """When the line changes from one known level to the other, the first times."""
    known = (line.levels[1:] != UNKNOWN) & (line.levels[:-1] != UNKNOWN)
    return line.times[1:][np.flatnonzero(known)[:LOOKED_AT]]


def _output_changes(golden: Reference) -> Floats:
    """When any of the outputs changes, the first times of all together."""
    every = [_known_changes(golden.lines[f"o{bit}"]) for bit in range(8)]
    return np.unique(np.concatenate(every))[:LOOKED_AT]


def _distance(edges: Floats, times: Floats) -> Floats:
    """From each time to the nearest edge."""
    if not len(edges):
        return np.full(len(times), np.inf)
    after = np.searchsorted(edges, times)
    ahead = edges[np.minimum(after, len(edges) - 1)] - times
    behind = times - edges[np.maximum(after - 1, 0)]
    return np.minimum(np.abs(ahead), np.abs(behind))
