"""Looks closer where little differs: the clock by edges matched one by one, and levels beside edges that strayed.

A clock that was found by places in a step alone takes an edge that strays by more than half a step for one
of the next step. Once it is known where the recording lies, each edge has a partner in the prediction, and the clock is
the straight line through all of them. A level that is not as foretold, but lies beside an edge that has a partner, was
read on the wrong side of it: it tells nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from forelight.sim.levels import UNKNOWN

from ..capture.record import Floats, RecordedLine
from .clock import Clock
from .fit import Fit, Recording, differing, fit, timed
from .reference import Foretold
from .rows import ReadRows, changes, recorded

NEAR = 0.75  # of a step between an edge and its partner
BENT = 0.4  # steps by which the clock may be corrected anywhere, lest it swallow a slip
STRAYED = 0.55  # steps that an edge may be off, beside what samples and clock add
BESIDE = 0.08  # of a step between an edge and a level beside it, at least
EACH = 4.0  # bits for a level that tells nothing
SLIGHT = 8.0  # bits for a level that differs, where a clock is not yet known well
MOST = 0.03  # of the levels
LONGEST = 1 << 15  # edges

Matched = Mapping[
    str, tuple[Floats, Floats]
]  # by line: when edges were recorded, and how far their partners are


def closer(
    recording: Recording,
    prediction: ReadRows,
    found: Fit,
    lines: Mapping[str, RecordedLine],
    reference: Foretold,
    bounds: tuple[float, float],
    period: float,
    before: bool,
) -> tuple[Recording, Fit]:
    """The recording read by a better clock, and its fit, if that is better; otherwise the same. `period` is the time
    between two samples, in steps."""
    clock = recording.clock
    if clock is None or sum(len(line.times) for line in lines.values()) > LONGEST:
        return recording, found
    # A placement that hardly overlaps the prediction says nothing of the clock.
    there = max(found.places, key=lambda p: p.saved.sum() - SLIGHT * p.mismatches)
    shift = prediction.first - recording.rows.first + there.offset // prediction.slots
    names = recording.moments.names
    if not clock.given:
        clock = _straightened(clock, _matched(clock, shift, names, lines, reference))
    rows = recorded(lines, recording.moments, clock, bounds, 2 * clock.sigma)
    better = timed(recording.moments, rows, clock)
    refit = fit(better, prediction, before=before)
    if not refit.places:
        return recording, found
    room = max(BESIDE, 2 * clock.sigma) + 0.5 * period
    cleared = _cleared(better, prediction, refit, _matched(clock, shift, names, lines, reference), room)
    if cleared:
        better = timed(recording.moments, rows, clock)
        refit = fit(better, prediction, before=before)
        refit = replace(refit, bits=refit.bits - EACH * cleared)
    return (better, refit) if refit.bits > found.bits else (recording, found)


def _matched(
    clock: Clock, shift: int, names: tuple[str, ...], lines: Mapping[str, RecordedLine], reference: Foretold
) -> Matched:
    """The edges of each line that have a partner."""
    out = {}
    for name in names:
        line, theirs = lines[name], reference.lines[name]
        edges = changes(reference, name)
        levels = theirs.at(edges)
        parts = []
        for level in (0, 1):
            known = (line.levels[1:] == level) & (line.levels[:-1] != UNKNOWN)
            times, same = line.times[1:][known], edges[levels == level]
            if len(same) and len(times):
                at = clock.steps(times) + shift
                after = np.clip(np.searchsorted(same, at), 1, max(len(same) - 1, 1))
                ahead = same[np.minimum(after, len(same) - 1)] - at
                behind = same[np.maximum(after - 1, 0)] - at
                distance = np.where(np.abs(ahead) < np.abs(behind), ahead, behind)
                near = np.abs(distance) < NEAR
                parts.append((times[near], distance[near]))
        if parts:
            first, second = (np.concatenate(column) for column in zip(*parts, strict=True))
            out[name] = first, second
    return out


def _straightened(clock: Clock, matched: Matched) -> Clock:
    """The clock corrected by a straight line through the distances of the partners."""
    if not matched:
        return clock
    times, distance = (np.concatenate([pair[n] for pair in matched.values()]) for n in (0, 1))
    if len(times) < 4 or np.ptp(times) <= 0:
        return clock
    slope, middle = np.polyfit(times - times.mean(), distance, 1)
    change = middle + slope * (clock.x - times.mean())
    ends = middle + slope * (times[[times.argmin(), times.argmax()]] - times.mean())
    if np.abs(ends).max() > BENT:
        return clock
    rest = distance - middle - slope * (times - times.mean())
    sigma = 2 * float(rest.std()) / float(np.sqrt(len(rest)))
    return replace(clock, u=clock.u + change, rate=clock.rate + float(slope), sigma=sigma)


def _cleared(better: Recording, prediction: ReadRows, found: Fit, matched: Matched, room: float) -> int:
    """How many levels were struck out of the rows because they lie beside edges that have partners."""
    rows, wrong = differing(better, prediction, found.best.offset)
    limit = MOST * max(int(found.best.compared.sum()), 1)
    clock, read = better.clock, better.rows
    if clock is None or not len(rows) or int(np.bitwise_count(wrong).sum()) > limit:
        return 0
    count = 0
    for bit, (name, places) in enumerate(zip(better.moments.names, better.moments.places, strict=True)):
        mine = rows[(wrong >> bit & 1) == 1]
        if not len(mine) or name not in matched:
            continue
        slot = np.array(places)[np.minimum(mine % read.slots, len(places) - 1)]
        times = clock.times(read.first + mine // read.slots + slot)
        edges, distance = matched[name]
        edges = edges[np.abs(distance) < STRAYED + room]
        beside = np.array([len(edges) > 0 and np.abs(edges - t).min() * clock.rate < room for t in times])
        read.known[mine[beside]] &= ~read.known.dtype.type(1 << bit)
        count += int(beside.sum())
    read.levels[:] &= read.known
    return count
