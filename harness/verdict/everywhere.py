"""What a recorded line saves at every placement on a predicted line at once, by Fourier transforms.

It costs more than looking at a few placements, and finds those at which some lines fit and others do not.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from ..capture.record import Floats, Ints
from .fit import MOST_AT_ONCE, Recording, Span


class Everywhere:
    """Lines of a recording against lines of a prediction, placement by placement of `span`."""

    def __init__(self, recording: Recording, span: Span) -> None:
        self.recording, self.span = recording, span
        self.rows = min(len(recording.rows.levels), MOST_AT_ONCE)
        self.size = fft.next_fast_len(len(span.levels) + self.rows, real=True)
        self._ours, self._theirs = cache(self._recorded), cache(self._predicted)

    def line(self, ours: int, theirs: int) -> tuple[Floats, Ints]:
        """The bits that the recorded line `ours` saves at each placement if it is the predicted line `theirs`, levels
        that are not as foretold left out of account; and how many such levels there are."""
        cost, known, signs = self._ours(ours)
        told, expected = self._theirs(theirs)
        saved = self._shifted(cost * told)
        compared, alike = self._shifted(known * told), self._shifted(signs * expected)
        return saved, np.rint((compared - alike) / 2).astype(np.int64)

    def _recorded(self, bit: int) -> tuple[NDArray[np.complex128], ...]:
        rows = self.recording.rows
        known = (rows.known[: self.rows] >> bit & 1).astype(np.float64)
        level = (rows.levels[: self.rows] >> bit & 1).astype(np.float64)
        parts = (self.recording.cost[bit, : self.rows], known, (2 * level - 1) * known)
        return tuple(np.conj(fft.rfft(part, self.size)) for part in parts)

    def _predicted(self, bit: int) -> tuple[NDArray[np.complex128], ...]:
        known = (self.span.known >> bit & 1).astype(np.float64)
        level = (self.span.levels >> bit & 1).astype(np.float64)
        return fft.rfft(known, self.size), fft.rfft((2 * level - 1) * known, self.size)

    def _shifted(self, product: NDArray[np.complex128]) -> Floats:
        first = self.span.low + self.span.front
        every: Floats = fft.irfft(product, self.size)
        return every[first : first + self.span.count * self.span.slots : self.span.slots]
