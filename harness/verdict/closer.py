"""Looks closer where little differs: the clock by edges matched one by one.

A clock that was found by places in a step alone takes an edge that strays by more than half a step for one
of the next step. Once it is known where the recording lies, each edge has a partner in the prediction, and the clock is
the straight line through all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from forelight.sim.levels import UNKNOWN

from ..capture.record import Floats, RecordedLine
from .clock import Clock
from .fit import Fit, fit
from .placement import Recording, timed
from .reference import Foretold
from .rows import ReadRows, moves, recorded

NEAR = 0.75  # of a step between an edge and its partner
BENT = 0.4  # steps by which the clock may be corrected anywhere, lest it swallow a slip
SLIGHT = 8.0  # bits for a level that differs, where a clock is not yet known well
MOST = 0.01  # of the levels that may differ by a better clock: where more do, edges are matched wrongly
HALF = 0.5  # of the levels must be compared: a recording that lies elsewhere tells nothing of its clock
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
    before: bool,
) -> tuple[Recording, Fit]:
    """The recording read by a better clock, and its fit, if that is better; otherwise the same."""
    clock = recording.clock
    if clock is None or clock.given or sum(len(line.times) for line in lines.values()) > LONGEST:
        return recording, found
    # A placement that hardly overlaps the prediction says nothing of the clock.
    there = max(found.places, key=lambda p: p.saved.sum() - SLIGHT * p.mismatches)
    shift = prediction.first - recording.rows.first + there.offset // prediction.slots
    names = recording.moments.names
    clock = _straightened(clock, _matched(clock, shift, names, lines, reference))
    better = timed(recording.moments, recorded(lines, recording.moments, clock, bounds, 0.0), clock)
    refit = fit(better, prediction, before=before)
    if not refit.places:
        return recording, found
    compared = int(refit.best.compared.sum())
    sure = refit.best.mismatches <= MOST * compared and compared > HALF * recording.known
    return (better, refit) if sure and refit.bits > found.bits else (recording, found)


def _matched(
    clock: Clock, shift: int, names: tuple[str, ...], lines: Mapping[str, RecordedLine], reference: Foretold
) -> Matched:
    """The edges of each line that have a partner."""
    out = {}
    for name in names:
        line = lines[name]
        edges, levels = moves(reference, name)
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
