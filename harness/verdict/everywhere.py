"""What recorded lines save at every placement on predicted lines at once, by Fourier transforms.

Theory of operation. What a line saves at a placement, and how many of its levels are not as foretold there, are
correlations of two rows of numbers: the cost of its levels with whether they are foretold at all, and the signs of its
levels with those foretold. A level that stands beside an edge which may have strayed counts as foretold: so what is
found is what each placement may save at most.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
import scipy  # loads its parts where they are used
from numpy.typing import NDArray

from ..capture.record import Floats, Ints
from .rows import ReadRows, Words


class Spectrum:
    """The transforms of a recording's lines, of one size: of what each level `cost`, whether it was read, its sign."""

    def __init__(self, rows: ReadRows, cost: Floats, count: int, size: int) -> None:
        self.size = size
        known, sign = split(rows.levels[:count], rows.sure[:count], range(len(cost)))
        self.cost, self.known, self.sign = (
            np.conj(scipy.fft.rfft(part, size)) for part in (cost[:, :count], known, sign)
        )


class Everywhere:
    """A recording against a prediction at `count` placements `slots` rows apart, of which `first` is the first."""

    def __init__(
        self, ours: Spectrum, theirs: tuple[Words, Words], first: int, count: int, slots: int
    ) -> None:
        self.ours = ours
        self.part = slice(first, first + count * slots, slots)
        known, sign = split(*theirs, range(len(ours.cost)))
        self.known, self.sign = (scipy.fft.rfft(part, ours.size) for part in (known, sign))

    @cached_property
    def lines(self) -> tuple[Floats, Ints]:
        """By line and placement the bits that are saved, and how many levels are not as foretold."""
        both = [self.line(bit, bit) for bit in range(len(self.known))]
        return np.array([pair[0] for pair in both]), np.array([pair[1] for pair in both])

    @cached_property
    def all(self) -> tuple[Floats, Ints]:
        """The same of all lines together."""
        ours = self.ours
        saved = self._shifted((ours.cost * self.known).sum(axis=0))
        apart = self._shifted((ours.known * self.known - ours.sign * self.sign).sum(axis=0))
        return saved, np.rint(apart / 2).astype(np.int64)

    def line(self, ours: int, theirs: int) -> tuple[Floats, Ints]:
        """The bits that the recorded line `ours` saves at each placement if it is the predicted line `theirs`, and how
        many of its levels are not as foretold."""
        saved = self._shifted(self.ours.cost[ours] * self.known[theirs])
        apart = self._shifted(
            self.ours.known[ours] * self.known[theirs] - self.ours.sign[ours] * self.sign[theirs]
        )
        return saved, np.rint(apart / 2).astype(np.int64)

    def _shifted(self, product: NDArray[np.complex128]) -> Floats:
        every: Floats = scipy.fft.irfft(product, self.ours.size)[self.part]
        return every


def fast_length(count: int) -> int:
    """The least size of a transform that is fast and holds so many rows."""
    return int(scipy.fft.next_fast_len(count, real=True))


def split(levels: Words, known: Words, lines: Iterable[int]) -> tuple[Floats, Floats]:
    """By line whether each level is known, and 1 for high and -1 for low."""
    bits = np.array([*lines], known.dtype)[:, None]
    told = (known >> bits & 1).astype(np.float64)
    return told, ((levels >> bits & 1) * 2.0 - 1.0) * told
