"""A speaker on an output line: the sound that its levels make, free of aliases and at a safe level, as a WAV file.

Each edge is laid down at its exact time as a band-limited step (the integral of a sinc under a Kaiser window), so
that nothing above half the sample rate folds back (band-limited steps: Brandt, Hard Sync Without Aliasing, ICMC 2001;
from memory). What is laid down is the step's increase from sample to sample, and its sum leaks: that takes the
direct current out, as the capacitor before an amplifier does.
"""

from __future__ import annotations

import io
import math

import numpy as np
from forelight.sim.errors import UsageError
from forelight.sim.levels import UNKNOWN
from forelight.sim.traces.trace import Trace
from numpy.typing import NDArray

from .wiring import states

Samples = NDArray[np.float64]

#: Samples a second in the file; common for sound (IEC 60958-3 knows it too; from memory).
RATE = 48_000
#: Share of full scale that the loudest sample reaches, if nothing is said: some 14 dB below it.
VOLUME = 0.2
#: Below this the sound is cut off as by a coupling capacitor; it is where hearing ends (common practice, no source).
LOWEST_HZ = 20.0
#: Longer sounds are refused: a minute takes 5.8 MB.
MOST_SECONDS = 600
#: More edges would only be noise, and take minutes.
MOST_EDGES = 20_000_000

#: The sinc: so many samples long, in tables for so many places between two samples. Its stop band lies 100 dB down
#: and begins at half the sample rate (Kaiser's formulas: Oppenheim and Schafer, Discrete-Time Signal Processing, 7.5).
_TAPS = 128
_PLACES = 2048
_STOP_DB = 100.0
_BETA = 0.1102 * (_STOP_DB - 8.7)
_TRANSITION = (_STOP_DB - 7.95) / (14.36 * (_TAPS - 1))  # in cycles a sample
_CUTOFF = 0.5 - _TRANSITION / 2
#: Edges that are laid down at once, and samples that are integrated at once: both bound the memory and the numbers.
_EDGES_AT_ONCE = 1 << 14
_SAMPLES_AT_ONCE = 1 << 12


def sound(trace: Trace, hz: float, volume: float = VOLUME, signal: str = "signal") -> Samples:
    """The sound of a signal whose times count `hz` to the second: samples from -`volume` to `volume`.

    While the signal is unsettled the level before is held: nothing can be foretold then. Raises UsageError for a
    sound that is too long.
    """
    seconds = trace.end / hz
    times, levels = states(trace, signal)
    known = levels != UNKNOWN
    times, levels = times[known], levels[known].astype(np.int8)
    steps = np.diff(levels, prepend=levels[:1])
    edges = times[steps != 0] * (RATE / hz)
    if seconds > MOST_SECONDS or len(edges) > MOST_EDGES:
        raise UsageError(
            f"the sound lasts {seconds:.0f} s and has {len(edges)} edges",
            remedy=f"at most {MOST_SECONDS} s and {MOST_EDGES} edges are written; run it for a shorter time",
        )
    heard = _leaking(_rises(edges, steps[steps != 0], math.ceil(seconds * RATE)))
    # A square wave overshoots its levels where it is band-limited (Gibbs); anything else may by more.
    return heard * (volume / max(1.2, float(np.abs(heard).max(initial=0.0))))


def to_wav(samples: Samples) -> bytes:
    """A WAV file: one channel, 16 bits, `RATE` samples a second."""
    import wave

    data = io.BytesIO()
    with wave.open(data, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(np.round(samples * 32767).astype("<i2").tobytes())
    return data.getvalue()


def _table() -> Samples:
    """A row for each place of an edge between two samples: by how much its step rises before each sample; sum 1."""
    away = np.arange(-_TAPS // 2 * _PLACES, _TAPS // 2 * _PLACES + 1) / _PLACES  # in samples from the edge
    window = np.i0(_BETA * np.sqrt(np.clip(1 - (away / (_TAPS / 2)) ** 2, 0, None)))
    step = np.cumsum(np.sinc(2 * _CUTOFF * away) * window)
    step = np.concatenate((np.zeros(2 * _PLACES), step / step[-1], np.ones(2 * _PLACES)))
    at = (np.arange(_TAPS + 2) + 2) * _PLACES - np.arange(_PLACES + 1)[:, None]
    found: Samples = np.diff(step[at], axis=1)
    return found


def _rises(edges: Samples, steps: NDArray[np.int8], count: int) -> Samples:
    """How much the sum of all steps rises before each sample."""
    table = _table()
    padded = np.zeros(count + _TAPS + 2)
    for first in range(0, len(edges), _EDGES_AT_ONCE):
        part = slice(first, first + _EDGES_AT_ONCE)
        whole = np.floor(edges[part]).astype(np.int64)
        place = (edges[part] - whole) * _PLACES
        row = place.astype(np.int64)
        between = (place - row)[:, None]
        shapes = table[row] * (1 - between) + table[row + 1] * between
        at = whole[:, None] + np.arange(_TAPS + 1)
        weights = (shapes * steps[part, None]).ravel()
        low, high = int(at[0, 0]), int(at[-1, -1]) + 1
        padded[low:high] += np.bincount(at.ravel() - low, weights, high - low)
    return padded[_TAPS // 2 - 1 : _TAPS // 2 - 1 + count]


def _leaking(rises: Samples) -> Samples:
    """Each sample is the one before, less what leaks, plus its rise: y[n] = a y[n-1] + x[n]."""
    keep = math.exp(-2 * math.pi * LOWEST_HZ / RATE)
    powers = keep ** np.arange(1, _SAMPLES_AT_ONCE + 1)
    heard = np.empty_like(rises)
    last = 0.0
    for first in range(0, len(rises), _SAMPLES_AT_ONCE):
        part = rises[first : first + _SAMPLES_AT_ONCE]
        weights = powers[: len(part)]
        block = weights * (last + np.cumsum(part / weights))
        heard[first : first + len(part)] = block
        last = float(block[-1])
    return heard
