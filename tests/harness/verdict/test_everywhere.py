"""Codes and correlations against the same worked level by level, in the plainest way."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Sequence

import numpy as np
import pytest
from forelight.harness.verdict.clock import steady
from forelight.harness.verdict.fit import Span
from forelight.harness.verdict.null import entry_bits, line_bits
from forelight.harness.verdict.placement import Recording, timed
from forelight.harness.verdict.rows import Moments, ReadRows

NAMES = ("o0", "o1", "o2")


def by_levels(levels: Sequence[int], bit: int) -> list[float]:
    """A line's cost level by level: the mean of what eight predictors say, each weighted by how well it has done, and
    each by the counts in its context: the last 0, 1, 2, 4, 8 or 16 levels, the row before, or the line's last level
    with the lines below it in this row and in the row before."""
    counts: list[Counter[Hashable]] = [Counter() for _ in range(8)]
    weights = [1 / 8] * 8
    below = (1 << min(bit, 7)) - 1
    found = []
    for row, word in enumerate(levels):
        past = [levels[n] >> bit & 1 if n >= 0 else 0 for n in range(row - 1, row - 17, -1)]
        before = levels[row - 1] if row else 0
        contexts: list[Hashable] = [tuple(past[:order]) for order in (0, 1, 2, 4, 8, 16)]
        contexts += [before, (past[0], word & below, before & below)]
        level = word >> bit & 1
        chances = []
        for count, context in zip(counts, contexts, strict=True):
            seen = [count[context, 0], count[context, 1]]
            chances.append((seen[level] + 0.5) / (sum(seen) + 1))
            count[context, level] += 1
        mixed = sum(weight * chance for weight, chance in zip(weights, chances, strict=True))
        weights = [weight * chance / mixed for weight, chance in zip(weights, chances, strict=True)]
        found.append(-math.log2(mixed))
    return found


def by_entries(entries: Sequence[Hashable | None], signs: int) -> list[float]:
    """The same of entries: method C of Moffat 1990 after the last 0, 1 and 2 entries, three predictors mixed."""
    seen: list[dict[Hashable, Counter[Hashable]]] = [{}, {}, {}]
    weights = [1 / 3] * 3
    past: list[Hashable | None] = [None, None, None]
    found = []
    for entry in entries:
        cost = 0.0
        if entry is not None:
            chances = []
            for order, contexts in enumerate(seen):
                counted = contexts.setdefault(tuple(past[3 - order :]), Counter())
                total, kinds = counted.total(), len(counted)
                escape = kinds / (total + kinds) if total else 1.0
                known = counted[entry] / (total + kinds) if total and entry in counted else 0.0
                chances.append(known + escape / signs)
                counted[entry] += 1
            mixed = sum(weight * chance for weight, chance in zip(weights, chances, strict=True))
            weights = [weight * chance / mixed for weight, chance in zip(weights, chances, strict=True)]
            cost = -math.log2(mixed)
        found.append(cost)
        past = [*past[1:], entry]
    return found


@pytest.mark.parametrize("seed", range(4))
def test_what_a_line_costs_level_by_level(seed: int) -> None:
    print("seed", seed)
    rng = np.random.default_rng(seed)
    levels = rng.integers(0, 8, 60)
    if seed % 2:
        levels = np.tile(levels[:9], 7)[:60]
    words = levels.astype(np.uint16)
    known = np.full(60, 7, np.uint16)
    for bit in range(3):
        cost = line_bits(words, known, bit)
        assert cost == pytest.approx(by_levels([int(word) for word in words], bit))
    # What was not read is left out, as though it had not been.
    known[[4, 5, 30]] = 0
    cost = line_bits(words, known, 1)
    read = [int(word) for word, told in zip(words, known, strict=True) if told]
    assert cost[known > 0] == pytest.approx(by_levels(read, 1))
    assert cost[[4, 5, 30]].tolist() == [0, 0, 0]
    assert not line_bits(words | np.uint16(8), known | np.uint16(8), 3).any()


def test_what_entries_cost_one_by_one() -> None:
    print("seed 3")
    rng = np.random.default_rng(3)
    for signs, kinds in ((256, 3), (60, 12), (5, 5)):
        entries: list[Hashable | None] = [int(n) if n else None for n in rng.integers(0, kinds + 1, 50)]
        assert entry_bits(entries, signs) == pytest.approx(by_entries(entries, signs))


@pytest.mark.parametrize("slots", [1, 2])
def test_what_is_saved_at_every_placement(slots: int) -> None:
    """Line by line, and one line on another; and all lines together."""
    print("seed", slots)
    rng = np.random.default_rng(slots)
    told = ReadRows(
        rng.integers(0, 8, 60).astype(np.uint8), (rng.random(60) < 0.9).astype(np.uint8) * np.uint8(7), slots
    )
    read = ReadRows(rng.integers(0, 8, 24).astype(np.uint8), rng.integers(0, 8, 24).astype(np.uint8), slots)
    at = Moments(NAMES, ((0.5,),) * 3, ((0.5,),) * 3)
    recording: Recording = timed(at, read, steady(1.0))
    span = Span.of(recording, told)
    assert span is not None
    every = span.everywhere(recording)
    assert every is not None
    assert (every.ours.size >= 60 + 24) and span.everywhere(recording, 10) is None
    lines = every.lines
    for number, offset in enumerate(span.offsets(np.arange(span.count)).tolist()):
        saved, wrong = np.zeros((3, 3)), np.zeros((3, 3), int)
        for row in range(24):
            if not 0 <= row + offset < 60:
                continue
            for ours in range(3):
                for theirs in range(3):
                    known = int(told.known[row + offset]) >> theirs & 1
                    saved[ours, theirs] += known * recording.cost[ours, row]
                    apart = (int(told.levels[row + offset]) >> theirs ^ int(read.levels[row]) >> ours) & 1
                    wrong[ours, theirs] += known and int(read.known[row]) >> ours & 1 and apart
        assert lines[0][:, number] == pytest.approx(np.diag(saved), abs=1e-6)
        assert lines[1][:, number].tolist() == np.diag(wrong).tolist()
        assert every.all[0][number] == pytest.approx(np.trace(saved), abs=1e-6)
        assert every.all[1][number] == np.trace(wrong)
        across = every.line(2, 0)
        assert (across[0][number], across[1][number]) == (pytest.approx(saved[2, 0], abs=1e-6), wrong[2, 0])
