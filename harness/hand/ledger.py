"""A ledger: a column of numbers that grows at its end and can be cut back: what a run leaves behind as it goes on."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray


class Ledger:
    """Numbers of one type; `rows` is all of them, valid until the column grows again."""

    def __init__(self, dtype: DTypeLike, capacity: int = 0) -> None:
        self._array: NDArray[Any] = np.empty(capacity, dtype)
        self._length = 0

    def __len__(self) -> int:
        return self._length

    @property
    def rows(self) -> NDArray[Any]:
        return self._array[: self._length]

    def append(self, more: NDArray[Any]) -> None:
        """Put these at the end."""
        length = self._length + len(more)
        if length > len(self._array):
            grown = np.empty(max(length, 2 * len(self._array), 1024), self._array.dtype)
            grown[: self._length] = self.rows
            self._array = grown
        self._array[self._length : length] = more
        self._length = length

    def take(self, rows: NDArray[Any]) -> None:
        """Put these at the end; an empty column takes the array itself, which nobody may change from then on."""
        if self._length or rows.dtype != self._array.dtype:
            return self.append(rows)
        self._array, self._length = rows, len(rows)

    def cut(self, length: int) -> None:
        """Forget what comes after so many."""
        self._length = min(length, self._length)
