"""Makes traces for the tests of attachments: signals drawn as pulses, and serial frames by a bit list of their own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from forelight.sim.traces.trace import Trace


def trace(signals: Mapping[str, Sequence[tuple[int, int]]], end: int) -> Trace:
    """Each signal as (time, level) in rising times; the level 2 is not known. All begin at 0."""
    times = sorted({0, *(time for rows in signals.values() for time, _ in rows)})
    values, unknown = {}, {}
    for name, rows in signals.items():
        found, at, level = [], 0, 0
        for time in times:
            while at < len(rows) and rows[at][0] <= time:
                level = rows[at][1]
                at += 1
            found.append(level)
        column = np.array(found, np.uint64)
        unknown[name] = (column == 2).astype(np.uint64)
        values[name] = column & np.uint64(1)
    return Trace(np.array(times, np.int64), values, dict.fromkeys(signals, 1), end, unknown)


def serial(data: bytes, bit: float, *, start: float = 0, gaps: Iterable[float] = ()) -> list[tuple[int, int]]:
    """8N1 frames of `data` on a line that rests high, with so many ticks a bit; `gaps` are rests in bits."""
    rows, at, rest = [(0, 1)], start, iter(gaps)
    for byte in data:
        bits = f"1{byte:08b}0"[::-1]  # as sent: start, lowest bit first, stop
        for place, level in enumerate(bits):
            rows.append((round(at + place * bit), int(level)))
        at += (len(bits) + next(rest, 0.0)) * bit
    return rows
