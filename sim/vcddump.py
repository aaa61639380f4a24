"""What stands in a value change dump (IEEE 1364-2005, clause 18): its variables and, for each, its changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from .columns import Ints
from .vcdheader import Variable

Values = NDArray[np.uint64]
Levels = NDArray[np.uint8]
UNKNOWN = 2  # the level beside 0 and 1


@dataclass(frozen=True)
class Dump:
    """The changes of a dump, by the place that an identifier has in `identifiers`, piece by piece in file order.

    `scalars` hold times (int64) and levels (0, 1 or 2, unknown) of variables of one bit; `vectors` hold times, values
    and masks of unknown bits of wider ones. `unit` is the file's time unit in seconds, None when it states none;
    `first` and `last` are its first and last time stamp.
    """

    variables: tuple[Variable, ...]
    identifiers: Sequence[bytes]
    unit: Fraction | None
    scalars: Mapping[int, list[tuple[Ints, Levels]]]
    vectors: Mapping[int, list[tuple[Ints, Values, Values]]]
    first: int
    last: int

    def changes(self, variable: Variable) -> tuple[Ints, Values, Values]:
        """Times, values and unknown masks of one variable, as written (times may repeat)."""
        if variable.width == 1:
            times, levels = self.levels(variable)
            return times, (levels == 1).astype(np.uint64), (levels == UNKNOWN).astype(np.uint64)
        parts = self.vectors.get(self.identifiers.index(variable.identifier), [])
        if not parts:
            return np.zeros(0, np.int64), np.zeros(0, np.uint64), np.zeros(0, np.uint64)
        times, values, unknown = (np.concatenate(columns) for columns in zip(*parts, strict=True))
        return times, values, unknown

    def levels(self, variable: Variable, bit: int = 0) -> tuple[Ints, Levels]:
        """Times and levels (0, 1 or 2, unknown) of one bit of a variable, as written (times may repeat)."""
        if variable.width > 1:
            times, values, unknown = self.changes(variable)
            levels = (values >> np.uint64(bit) & np.uint64(1)).astype(np.uint8)
            levels[(unknown >> np.uint64(bit) & np.uint64(1)).astype(bool)] = UNKNOWN
            return times, levels
        parts = self.scalars.get(self.identifiers.index(variable.identifier), [])
        if not parts:
            return np.zeros(0, np.int64), np.zeros(0, np.uint8)
        return np.concatenate([times for times, _ in parts]), np.concatenate([levels for _, levels in parts])

    def times(self) -> Ints:
        """When anything changes, rising."""
        every = [
            part[0] for found in (self.scalars, self.vectors) for parts in found.values() for part in parts
        ]
        return np.unique(np.concatenate([np.array([self.first]), *every]))
