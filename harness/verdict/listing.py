"""A list that an eye wrote down against a prediction: entries missed, written twice or wrong, found all at once.

Theory of operation. One dynamic program over the entries and the prediction's steps: from one entry to the next the
prediction goes on by one step, at a price by none (written twice) or two (one missed); an entry that is not as foretold
is wrong at a price, and then coded without the prediction. The prices are logarithms of how common each slip is
(common practice, no source). What comes out is the likeliest list of slips.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from .placement import Recording
from .rows import ReadRows

SLIP_BITS = 8.0  # an entry missed, written twice or wrong: one in 256
STATED = 1.0  # bits for beginning at the step that is stated, and for beginning anywhere else
MISSED, TWICE, WRONG_ENTRY = "missed", "twice", "wrong"
ON, SKIP, STAY = range(3)


@dataclass(frozen=True)
class Slip:
    """One slip of the hand that wrote: what it is, and the entries (from 0) among which it lies, which show the same.

    A missed one lies before one of these entries."""

    kind: str
    first: int
    last: int


@dataclass(frozen=True)
class Listed:
    """`bits` that are saved by the likeliest `slips`, the first of which is the first; entry n shows the prediction's
    row `path[n]`."""

    bits: float
    slips: tuple[Slip, ...]
    path: tuple[int, ...]


def listed(
    recording: Recording, prediction: ReadRows, stated: int, moves_made: Collection[int] = (SKIP, STAY)
) -> Listed | None:
    """The likeliest slips; None where the prediction is empty. `stated` is the row in which the list should begin.

    `moves_made` are those beside going on that are allowed."""
    ours, theirs = recording.rows, prediction
    count, steps = len(ours.levels), len(theirs.levels)
    if not count or not steps:
        return None
    emit = np.array([_saved(recording, theirs, row) for row in range(count)])
    wrong = emit <= -SLIP_BITS
    score = np.full(steps, -STATED - math.log2(steps))
    if 0 <= stated < steps:
        score[stated] = -STATED
    score += emit[0]
    moves = np.zeros((count, steps), np.uint8)
    for row in range(1, count):
        ways = np.full((3, steps), -np.inf)
        ways[ON, 1:] = score[:-1]
        if SKIP in moves_made:
            ways[SKIP, 2:] = score[:-2] - SLIP_BITS
        if STAY in moves_made:
            ways[STAY] = score - SLIP_BITS
        moves[row] = ways.argmax(axis=0)
        score = ways.max(axis=0) + emit[row]
    at = int(score.argmax())
    bits = float(score[at])
    path = [at]
    kinds = []
    for row in range(count - 1, 0, -1):
        at -= (1, 2, 0)[moves[row, at]]
        path.append(at)
    path.reverse()
    for row in range(count):
        if row and moves[row, path[row]] != ON:
            kinds.append((MISSED if moves[row, path[row]] == SKIP else TWICE, row))
        if wrong[row, path[row]]:
            kinds.append((WRONG_ENTRY, row))
    slips = tuple(
        _between(recording, theirs, path[row] - 1, row) if kind == MISSED else _placed(recording, kind, row)
        for kind, row in kinds
    )
    return Listed(bits, slips, tuple(path))


def _saved(recording: Recording, theirs: ReadRows, row: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """What an entry saves at each step of the prediction; what a slip costs where it is not as foretold."""
    told = theirs.known & recording.rows.known[row]
    same = ((theirs.levels ^ recording.rows.levels[row]) & told) == 0
    bits = np.arange(len(recording.names), dtype=told.dtype)
    masks, which = np.unique(told, return_inverse=True)
    worth = (masks[:, None] >> bits & 1) @ recording.cost[:, row]
    return np.where(same, worth[which], -SLIP_BITS)


def _placed(recording: Recording, kind: str, row: int) -> Slip:
    """The slip, and the run of equal entries in which it cannot be told where it lies."""
    first = last = row
    if kind != WRONG_ENTRY:
        rows = recording.rows
        while first > 0 and _alike(rows, first - 1, rows, first):
            first -= 1
        while last + 1 < len(rows.levels) and _alike(rows, last, rows, last + 1):
            last += 1
    return Slip(kind, first, last)


def _between(recording: Recording, theirs: ReadRows, missed: int, row: int) -> Slip:
    """A step that was missed before an entry, or on the other side of entries that show the same as that step."""
    first = last = row
    rows = recording.rows
    while first > 1 and _alike(rows, first - 1, theirs, missed):
        first -= 1
    while last + 1 < len(rows.levels) and _alike(rows, last, theirs, missed):
        last += 1
    return Slip(MISSED, first, last)


def _alike(rows: ReadRows, one: int, others: ReadRows, other: int) -> bool:
    both = rows.known[one] & others.known[other]
    return not (rows.levels[one] ^ others.levels[other]) & both
