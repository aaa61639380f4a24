"""Numbers to and from columns of characters, a whole array at a time.

Text is laid out as a uint8 matrix, a row for each line, in which 0 stands for "no character": columns of
any kind are put side by side and the zeros are dropped at the end. Reading goes the other way: fields are
given by their first byte and their length in one flat buffer, and are converted digit by digit for all
fields together.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]


def decimal(values: NDArray[np.integer]) -> Bytes:
    """Whole numbers as decimal digits, right-aligned: shape (n,) to (n, width), a minus sign where
    negative."""
    negative = values < 0
    rest = np.abs(values).astype(np.uint64)
    width = len(str(int(rest.max(initial=0))))
    out = np.zeros((len(values), width + 1), np.uint8)
    for column in range(width, 0, -1):
        shown = (rest > 0) | (column == width)
        out[:, column] = np.where(shown, rest % 10 + ord("0"), 0)
        rest //= 10
    first = np.argmax(out[:, 1:] > 0, axis=1)
    rows = np.flatnonzero(negative)
    out[rows, first[rows]] = ord("-")
    return out


def fixed(values: NDArray[np.integer], width: int = 0) -> Bytes:
    """Whole numbers from 0 on with leading zeros: shape (n,) to (n, width), by default as wide as the largest."""
    rest = values.astype(np.int64)
    width = width or len(str(int(rest.max(initial=0))))
    groups = -(-width // 4)
    found = np.empty((len(rest), groups), np.uint32)
    table = _four_digits()
    for group in range(groups - 1, -1, -1):
        rest, low = np.divmod(rest, 10_000) if group else (rest, rest)
        found[:, group] = table[low]
    return found.view(np.uint8)[:, 4 * groups - width :]


@cache
def _four_digits() -> NDArray[np.uint32]:
    """The characters of 0000 to 9999, each four in one number."""
    numbers = np.arange(10_000)[:, None] // np.array([1000, 100, 10, 1]) % 10
    found: NDArray[np.uint32] = (numbers + ord("0")).astype(np.uint8).view(np.uint32)[:, 0]
    return found


def beside(*parts: Bytes | bytes) -> Bytes:
    """Columns of matrices of as many rows, and bytes that stand in every row, side by side: a matrix of characters."""
    rows = next(len(part) for part in parts if not isinstance(part, bytes))
    widths = [len(part) if isinstance(part, bytes) else part.shape[1] for part in parts]
    found = np.empty((rows, sum(widths)), np.uint8)
    at = 0
    for part, width in zip(parts, widths, strict=True):
        found[:, at : at + width] = np.frombuffer(part, np.uint8) if isinstance(part, bytes) else part
        at += width
    return found


def binary(values: NDArray[np.uint64], unknown: NDArray[np.uint64] | None, width: int) -> Bytes:
    """Bits as 0, 1 and x, highest first: shape (n,) to (n, width)."""
    places = np.arange(width - 1, -1, -1, dtype=np.uint64)
    out = ((values[:, None] >> places) & np.uint64(1)).astype(np.uint8) + np.uint8(ord("0"))
    if unknown is not None:
        out[((unknown[:, None] >> places) & np.uint64(1)).astype(bool)] = ord("x")
    return out


def join(rows: int, *parts: Bytes | bytes) -> bytes:
    """Columns (matrices of `rows` rows, or bytes that stand in every row) side by side, zeros dropped."""
    columns = [
        np.broadcast_to(np.frombuffer(part, np.uint8), (rows, len(part))) if isinstance(part, bytes) else part
        for part in parts
    ]
    flat = np.concatenate(columns, axis=1).ravel()
    return flat[flat > 0].tobytes()


def integers(text: Bytes, starts: Ints, lengths: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """Decimal fields as int64, with a mask of the fields that are one (optional minus sign, one to 18 digits).

    Eight digits are converted at a time, all in one word: neighbours are joined to twos, fours and eights.
    """
    if len(starts) == 0:
        return np.zeros(0, np.int64), np.zeros(0, bool)
    negative = text[np.minimum(starts, len(text) - 1)] == ord("-")
    count = lengths - negative
    good = (count > 0) & (count <= 18)
    stops = starts + lengths
    values = np.zeros(len(starts), np.int64)
    for place in range(0, int(count.max(where=good, initial=0)), 8):
        digits = _eight_before(text, stops - place) ^ _ZEROS
        digits &= _LAST[np.minimum(np.maximum(count - place, 0), 8)]
        good &= ((digits + _SIXES | digits) & _HIGH) == 0
        for scale, shift, kept in _JOINED:
            digits = (digits * scale + (digits >> shift)) & kept
        values += digits.view(np.int64) * 10**place
    return np.where(negative, -values, values), good


def _eight_before(text: Bytes, stops: Ints) -> NDArray[np.uint64]:
    """The eight characters before each of these places as one number, the last of them highest."""
    low = int(stops.min())
    if low < 8:  # there are not as many: put some before the part of the text that is asked for
        pad = 8 - min(low, 0)
        text, stops = np.concatenate([np.zeros(pad, np.uint8), text[: int(stops.max())]]), stops + pad
    # Eight characters from each place on: the words of this array overlap.
    words = np.ndarray(len(text) - 7, "<u8", buffer=np.ascontiguousarray(text), strides=(1,))
    found: NDArray[np.uint64] = words[stops - 8].astype(np.uint64, copy=False)
    return found


def _each(byte: int) -> np.uint64:
    return np.uint64(byte * 0x0101010101010101)


_ZEROS, _SIXES, _HIGH = _each(ord("0")), _each(6), _each(0xF0)
#: What leaves the last 0 to 8 of eight characters.
_LAST = np.array([(1 << 64) - (1 << 8 * (8 - count)) for count in range(9)], np.uint64)
#: Neighbours to one number, the higher digits' weight first; where these lie apart; and what is then kept.
_JOINED = tuple(
    (np.uint64(scale), np.uint64(shift), np.uint64(kept))
    for scale, shift, kept in ((10, 8, 0x00FF00FF00FF00FF), (100, 16, 0x0000FFFF0000FFFF), (10_000, 32, 0xFFFFFFFF))
)  # fmt: skip
