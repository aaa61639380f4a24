"""The code that knows no design: the paper's estimator, and no more probability than there is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from forelight.harness.verdict.null import entry_bits, line_bits


def test_the_estimator_of_krichevsky_and_trofimov() -> None:
    """A level that comes after k others in a context in which it has come n times has the probability (n + 1/2) /
    (k + 1), by the paper's formula; over two levels all eight predictors see the same but for the last one."""
    cost = line_bits(np.array([0, 1], np.uint16), np.ones(2, np.uint16), 0)
    assert cost == pytest.approx([1.0, -math.log2(1 / 4)])
    long = line_bits(np.array([0, 0, 0, 1], np.uint16), np.ones(4, np.uint16), 0)
    assert long[:3] == pytest.approx([-math.log2((k + 0.5) / (k + 1)) for k in range(3)])


def test_a_code_of_levels_leaves_room_for_no_more_than_all_recordings() -> None:
    """Kraft's inequality: over recordings of two lines and four rows the probabilities sum to no more than 1."""
    total = 0.0
    for word in range(1 << 8):
        levels = np.array([word >> 2 * row & 3 for row in range(4)], np.uint16)
        if all(0 < (levels >> bit & 1).sum() < 4 for bit in range(2)):  # the others are free to both sides
            total += 2.0 ** -sum(line_bits(levels, np.full(4, 3, np.uint16), bit).sum() for bit in range(2))
    assert 0.1 < total < 1.0


def test_a_code_of_entries_leaves_room_for_no_more_than_all_lists() -> None:
    total = sum(2.0 ** -entry_bits([word // 9, word // 3 % 3, word % 3], 3).sum() for word in range(27))
    assert total <= 1.0 + 1e-9
