"""Change-only sequences in NumPy: slice, shift, merge, compare."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.int64]
Values = NDArray[np.uint64]


@dataclass(frozen=True)
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

    def _rows(self, keep: NDArray[np.bool_]) -> Trace:
        values = {name: column[keep] for name, column in self.values.items()}
        unknown = {name: column[keep] for name, column in self.unknown.items()}
        return Trace(self.times[keep], values, self.widths, self.end, unknown)
