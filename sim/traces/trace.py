"""Change-only sequences in NumPy: slice, shift, merge, compare."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace

import numpy as np
from numpy.typing import NDArray

from ..frozen import frozen

Times = NDArray[np.int64]
Values = NDArray[np.uint64]


@frozen
class Trace:
    """Signals that hold their value from one row to the next.

    `times` is int64, strictly rising, in whatever whole unit its maker says (ticks, frames, samples);
    `values` maps a signal to a uint64 array with one element for each row; `unknown` maps a signal to a mask
    of the bits that are not known (a missing signal is known throughout). `widths` maps a signal to its bits.
    The last row holds until `end`.
    """

    times: Times
    values: Mapping[str, Values]
    widths: Mapping[str, int]
    end: int
    unknown: Mapping[str, Values] = field(default_factory=dict)

    def compact(self) -> Trace:
        """The same without the rows in which nothing changes."""
        if not len(self.times):
            return self
        keep = np.zeros(len(self.times), bool)
        keep[0] = True
        for columns in (self.values, self.unknown):
            for column in columns.values():
                keep[1:] |= column[1:] != column[:-1]
        return self._rows(keep)

    def since(self, time: int) -> Trace:
        """From this time on, counted from there."""
        row = max(0, int(np.searchsorted(self.times, time, side="right")) - 1)
        rest = self._rows(np.arange(len(self.times)) >= row)
        return replace(rest, times=np.maximum(rest.times - time, 0), end=self.end - time)

    def beside(self, other: Trace) -> Trace:
        """The signals of both on one axis of time; what a trace holds before its first row is not known."""
        times = np.union1d(self.times, other.times)
        values: dict[str, Values] = {}
        unknown: dict[str, Values] = {}
        for trace in (self, other):
            at = np.searchsorted(trace.times, times, side="right") - 1
            for name, column in trace.values.items():
                full = np.uint64((1 << trace.widths[name]) - 1)
                vague = trace.unknown.get(name, np.zeros_like(column))[np.maximum(at, 0)]
                values[name], unknown[name] = column[np.maximum(at, 0)], np.where(at < 0, full, vague)
        return Trace(times, values, {**self.widths, **other.widths}, max(self.end, other.end), unknown)

    def _rows(self, keep: NDArray[np.bool_]) -> Trace:
        values = {name: column[keep] for name, column in self.values.items()}
        unknown = {name: column[keep] for name, column in self.unknown.items()}
        return Trace(self.times[keep], values, self.widths, self.end, unknown)
