"""Takes spikes out of a recorded line.

A spike is a run of one level that is much shorter than a step. Nothing is taken out where the samples are so far
apart that a spike and a short step look the same.
"""

from __future__ import annotations

import numpy as np

from .record import GAP, Capture, Line

#: Spikes are taken to be no longer than a twentieth of a step; what a design shows lasts a third of a step at least.
SPIKE = 1 / 8
SAMPLES = 6  # samples a step from which on a spike can be told from a short step


def shortest_run(step: float, period: float) -> float:
    """The shortest run that counts, for steps of this length and samples this far apart; 0 where all count."""
    if period * SAMPLES > step * 1.02:
        return 0.0
    return max(step * SPIKE, 1.5 * period)


def without_spikes(line: Line, shortest: float) -> Line:
    """The line without runs shorter than `shortest`, each of which takes on the level before it."""
    if len(line.times) < 3 or shortest <= 0:
        return line
    length = np.diff(line.times)
    keep = np.ones(len(line.times), bool)
    keep[1:-1] = (length[1:] >= shortest) | (line.levels[1:-1] == GAP)
    levels, times = line.levels[keep], line.times[keep]
    change = np.ones(len(levels), bool)
    change[1:] = levels[1:] != levels[:-1]
    return Line(times[change], levels[change])


def cleaned(capture: Capture, step: float) -> dict[str, Line]:
    """All lines of a capture without their spikes, for steps of this length."""
    shortest = shortest_run(step, capture.period)
    return {name: without_spikes(line, shortest) for name, line in capture.lines.items()}
