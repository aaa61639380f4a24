"""How many bits it takes to write a recording down without knowing any design: what every prediction has to beat.

Theory of operation. Each line is coded level by level with what was seen before: a Bayes mixture of adaptive
predictors (the estimator of Krichevsky and Trofimov 1981) that have seen the line's own last 0, 1, 2, 4, 8 or 16
levels, all lines in the row before, or the lines below it in the same row. So it learns a design that repeats itself,
and a line that rests or toggles earns no credit for being foretold. What an eye wrote down is coded entry by entry, by
the last 0, 1 or 2 entries, with an escape to those not seen before (method C of Moffat 1990). Both are proper codes:
no prediction that has nothing to do with the recording is k bits shorter with a probability above 2^-k (Ville 1939).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import NDArray

from ..capture.record import Floats, Ints

ORDERS = (1, 2, 4, 8, 16)
SYMBOL_ORDERS = 3  # the last 0, 1 and 2 entries
#: ReadRows beyond so many tell no more, and are free to both sides.
MOST = 1 << 17


def line_bits(levels: NDArray[np.unsignedinteger], known: NDArray[np.unsignedinteger], bit: int) -> Floats:
    """The cost in bits of one line in each row up to the last that costs anything; 0 where it was not recorded. Both
    arrays hold a bit for each line.

    A line that never changes costs nothing: that it rests proves little, and of many lines together far too much.
    """
    rows = np.flatnonzero(known >> bit & 1)[:MOST]
    cost = np.zeros(int(rows[-1]) + 1 if len(rows) else 0)
    seen = levels[rows] & known[rows]
    level = (seen >> bit & 1).astype(np.int64)
    if not level.any() or level.all():
        return cost
    sums = np.array([np.cumsum(_predicted(context, level)) for context in _contexts(seen, level, bit)])
    best = sums.min(axis=0)
    mixed = best - np.log2(np.exp2(best - sums).mean(axis=0))
    cost[rows] = np.diff(mixed, prepend=0.0)
    return cost


def _contexts(seen: NDArray[np.unsignedinteger], level: Ints, bit: int) -> list[NDArray[np.uint16]]:
    """What each predictor knows before each level."""
    before = np.concatenate([[0], level[:-1]]).astype(np.uint16)
    seen = seen.astype(np.uint16)
    previous = np.concatenate([seen[:1] * 0, seen[:-1]])
    past = np.zeros(len(level), np.uint16)
    contexts = [past]
    for back in range(1, ORDERS[-1] + 1):
        past = past.copy()
        past[back:] |= (level[:-back] << back - 1).astype(np.uint16)
        if back in ORDERS:
            contexts.append(past)
    lower = np.uint16((1 << min(bit, 7)) - 1)
    beside = before | (seen & lower) << np.uint16(1) | (previous & lower) << np.uint16(8)
    return [*contexts, previous, beside]


def _predicted(context: NDArray[np.uint16], level: Ints) -> Floats:
    """The cost of each level by the counts of those before it in the same context."""
    order = np.argsort(context, kind="stable")
    sorted_, ones = context[order], level[order]
    first = np.concatenate([[0], np.flatnonzero(sorted_[1:] != sorted_[:-1]) + 1])
    begin = np.repeat(first, np.diff(np.append(first, len(order))))
    number = np.arange(len(order)) - begin
    total = np.cumsum(ones) - ones
    count = total - total[begin]
    cost = np.empty(len(order))
    cost[order] = np.log2(number + 1.0) - np.log2(np.where(ones == 1, count, number - count) + 0.5)
    return cost


def entry_bits(entries: Sequence[Hashable | None], signs: int) -> Floats:
    """The cost in bits of each entry of a list; 0 where none was read. There are so many different `signs`."""
    counts: list[dict[tuple[Hashable, ...], dict[Hashable, int]]] = [{} for _ in range(SYMBOL_ORDERS)]
    weight = np.full(SYMBOL_ORDERS, 1 / SYMBOL_ORDERS)
    past: tuple[Hashable, ...] = (None,) * SYMBOL_ORDERS
    cost = np.zeros(len(entries))
    for row, entry in enumerate(entries):
        if entry is not None:
            chance = np.zeros(SYMBOL_ORDERS)
            for order, seen in enumerate(counts):
                after = seen.setdefault(past[len(past) - order :], {})
                total, kinds = sum(after.values()), len(after)
                new = kinds / (total + kinds) if total else 1.0
                chance[order] = after.get(entry, 0) / max(total + kinds, 1) + new / signs
                after[entry] = after.get(entry, 0) + 1
            mixed = float(weight @ chance)
            cost[row] = -np.log2(mixed)
            weight *= chance / mixed
        past = (*past[1:], entry)
    return cost
