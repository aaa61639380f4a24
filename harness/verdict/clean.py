"""Takes spikes out of a recorded line.

A spike is a run of one level that is much shorter than a step. Nothing is taken out where the samples are so far
apart that a spike and a short step look the same.
"""

from __future__ import annotations

import numpy as np
from forelight.sim.levels import UNKNOWN

from ..capture.record import RecordedLine

#: Spikes are taken to be no longer than a twentieth of a step; what a design shows lasts a third of a step at least.
SPIKE = 1 / 8
SAMPLES = 6  # samples a step from which on a spike can be told from a short step


def shortest_run(step: float, period: float) -> float:
    """The shortest run that counts, for steps of this length and samples this far apart; 0 where all count."""
    if period * SAMPLES > step * 1.02:
        return 0.0
    return max(step * SPIKE, 1.5 * period)


def without_spikes(line: RecordedLine, shortest: float) -> RecordedLine:
    """The line without runs shorter than `shortest`.

    Between equal levels they are spikes and vanish. Between different levels, where a spike beside an edge makes
    several short runs, it is not known when the line changed: a gap takes their place.
    """
    if len(line.times) < 3 or shortest <= 0:
        return line
    length = np.diff(line.times)
    if length[1:].min() >= shortest:
        return line
    keep = np.ones(len(line.times), bool)
    keep[1:-1] = (length[1:] >= shortest) | (line.levels[1:-1] == UNKNOWN)
    # The first of a row of short runs stays, as a gap, unless it is alone between equal levels.
    kept = np.flatnonzero(keep)
    differ = line.levels[kept[:-1]] != line.levels[kept[1:]]
    crowd = kept[:-1][((np.diff(kept) > 1) & differ) | (np.diff(kept) > 2)] + 1
    levels = line.levels.copy()
    levels[crowd] = UNKNOWN
    keep[crowd] = True
    times, levels = line.times[keep], levels[keep]
    change = np.ones(len(levels), bool)
    change[1:] = levels[1:] != levels[:-1]
    return RecordedLine(times[change], levels[change])


def without_frays(line: RecordedLine, shortest: float, end: float) -> RecordedLine:
    """The line with gaps for a first and a last run shorter than `shortest`.

    The recording's ends (the last one at `end`) may have cut these off from longer runs or through spikes.
    """
    if len(line.times) < 2:
        return line
    frayed = [line.times[1] - line.times[0] < shortest, end - line.times[-1] < shortest]
    if not any(frayed):
        return line
    levels = line.levels.copy()
    levels[[0, -1]] = np.where(frayed, UNKNOWN, levels[[0, -1]])
    return RecordedLine(line.times, levels)
