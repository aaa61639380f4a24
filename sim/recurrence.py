"""Long runs that come back to a state that they have had: what follows is what followed then, and is not run again."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .simulation import Recorded, Simulation

#: Rows of the first stretch in which a state is sought that comes back; each further one is twice as long.
_FIRST = 1 << 12
#: Places of one stretch at which the state is compared.
TRIES = 64
#: Bytes of what was shown by which such places are found.
WINDOW = 4096


def recurring_samples(sim: Simulation, port: str, values: Recorded, observe: str) -> Recorded:
    """What `Simulation.run_samples` gives, and the state that it leaves, without running what repeats itself.

    Only a run whose end takes turns between two values, as a clock does, is looked at.
    """
    begun = alternating(values)
    if len(values) - begun < 4 * _FIRST:
        return sim.run_samples(port, values, observe)
    head = sim.run_samples(port, values[:begun], observe)
    out = np.empty(len(values), head.dtype)
    out[:begun] = head
    at, size = begun, _FIRST
    while at < len(values):
        start, stretch = sim.snapshot(), values[at : at + size]
        shown = out[at : at + size] = sim.run_samples(port, stretch, observe)
        end = sim.snapshot()
        length = period(sim, start, port, stretch, observe, shown)
        if length:
            _repeat(out[at:], length)
            sim.restore(start)
            sim.run_samples(port, values[at : at + (len(values) - at) % length], observe)
            break
        sim.restore(end)
        at, size = at + size, 2 * size
    return out


def _repeat(out: Recorded, length: int) -> None:
    """Fill an array with its first rows, over and over."""
    done = length
    while done < len(out):
        more = min(done, len(out) - done)
        out[done : done + more] = out[:more]
        done += more


def periods(rows: NDArray[Any], rounds: int) -> Iterator[tuple[int, int]]:
    """Each `(length, first)` such that from row `first` to the end every row is what the row `length` later is.

    The shortest comes first; each goes round `rounds` times at least.
    """
    for length in range(1, min(len(rows) // rounds, len(rows) - 1) + 1):
        if rows[-1] == rows[-1 - length]:
            unlike = np.flatnonzero(rows[:-length] != rows[length:])
            first = int(unlike[-1]) + 1 if len(unlike) else 0
            if len(rows) - first >= rounds * length:
                yield length, first


def alternating(values: Recorded) -> int:
    """The row from which on each is what the last but one was; never the first, which may be one after power-up."""
    other = np.flatnonzero(values[2:] != values[:-2])
    return int(other[-1]) + 2 if len(other) else 1


def period(
    sim: Simulation,
    start: bytes,
    port: str,
    values: Recorded,
    observe: str,
    shown: Recorded,
    tries: int = TRIES,
) -> int | None:
    """After how many rows, an even number, the state `start` comes back in the run that showed `shown`.

    `values` are the rows that were put on `port` from that state on. What was shown says where to look: its first
    part comes again there. None where `tries` such places are not enough. The simulation is left anywhere in the run.
    """
    image, step, at, found = shown.tobytes(), 2 * shown.itemsize, 0, 0
    window = image[: min(len(image) // 8, WINDOW)]
    sim.restore(start)
    for _ in range(tries):
        found = image.find(window, found + 1)
        while found > 0 and found % step:
            found = image.find(window, found + 1)
        if found < 0:
            return None
        row = found // shown.itemsize
        sim.run_samples(port, values[at:row], observe)
        at = row
        if sim.snapshot() == start:
            return row
    return None
