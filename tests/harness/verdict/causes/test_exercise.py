"""Exercises: a recording as long as was asked for, in which a line keeps its level while it may be anything."""

from __future__ import annotations

import csv
import io
import random

import numpy as np
import pytest
from forelight.designs.procedures.procedure import Steps
from forelight.harness.capture.record import RecordedLine
from forelight.harness.verdict.causes.exercise import exercise, written
from forelight.harness.verdict.causes.foretell import Foreteller
from forelight.sim.levels import UNKNOWN

from .benches import handling


def rows_of(text: str) -> list[tuple[float, ...]]:
    return [tuple(map(float, row)) for row in list(csv.reader(io.StringIO(text)))[1:]]


def test_what_an_instrument_writes_down() -> None:
    """From 4 to 8 of a unit that lasts half a second, edges straying by two hundredths of it at most."""
    first = RecordedLine(np.array([0.0, 5.0, 6.5, 7.0, 9.0]), np.array([0, 1, UNKNOWN, 0, 1], np.uint8))
    second = RecordedLine(np.array([0.0, 3.5]), np.array([0, 1], np.uint8))
    third = RecordedLine(np.array([4.0, 6.0]), np.array([UNKNOWN, 1], np.uint8))
    text = written({"o0": first, "o1": second, "o2": third}, 4.0, 8.0, 0.5, random.Random(1))
    assert text.startswith("time_s,o0,o1,o2\n")
    rows = rows_of(text)
    assert [row[1:] for row in rows] == [(0, 1, 0), (1, 1, 0), (1, 1, 1), (1, 1, 1), (0, 1, 1), (0, 1, 1)]
    assert [row[0] for row in rows] == pytest.approx([0, 0.5, 1.0, 1.25, 1.5, 2.0], abs=0.0101)
    assert (rows[0][0], rows[-1][0]) == (0, 2)
    assert {row[0] for row in rows[1:-1]}.isdisjoint({0.5, 1.0, 1.25, 1.5})  # they do stray


@pytest.mark.parametrize("steps", [30, 500])
def test_an_exercise_lasts_as_long_as_was_asked_for(steps: int) -> None:
    """Of a run of 60 steps, after which a hand looks on for a while, 30 or all there are; by causes that leave the
    clock as it is."""
    it, teller = handling("tide_gauge", (Steps(60),)), Foreteller("i7")
    step = 1 / float(it.board.step_hz(29))
    lengths = []
    for seed in range(12):
        made = exercise(it, teller, random.Random(seed), steps)
        if made is None:
            continue
        truth = made.cause.change(it)
        assert made.meant == it
        if truth.then == it.then and truth.before == it.before and truth.pace == 1.0:
            lengths.append(rows_of(made.text)[-1][0])
            assert made.capture.end - made.capture.start == pytest.approx(lengths[-1])
    print("seeds 0 to 11:", lengths)
    assert lengths
    if steps == 30:
        assert lengths == pytest.approx([30 * step] * len(lengths))
    else:
        assert all(60 * step <= length < 200 * step for length in lengths)
