"""Rows: what lines show at the moments of each step, which of it counts, and what an edge beside a moment costs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from forelight.harness.capture.record import RecordedLine
from forelight.harness.verdict.clock import Clock, steady
from forelight.harness.verdict.fit import Span
from forelight.harness.verdict.placement import Recording, timed
from forelight.harness.verdict.reference import Foretold
from forelight.harness.verdict.rows import (
    Moments,
    ReadRows,
    changes,
    every_change,
    foretold_list,
    moments,
    moves,
    predicted,
    recorded,
    seen_list,
)
from forelight.sim.levels import UNKNOWN


def line(*changed: tuple[float, int]) -> RecordedLine:
    times, levels = zip(*changed, strict=True)
    return RecordedLine(np.array(times, float), np.array(levels, np.uint8))


def told(lines: dict[str, RecordedLine], end: float, since: float = 0.0) -> Foretold:
    """A prediction that rises at each whole step, restart being let go within the step from `since` on."""
    onward = since + 1 if since else 0.0
    rises = np.arange(1.0, math.ceil(end))
    return Foretold(lines, rises, 0, 1000.0, 50.0, 50_000, end, since, max(onward - 0.7, 0.0), onward)


def bits(rows: ReadRows, bit: int) -> str:
    """A line row by row, ? where it does not count."""
    return "".join(
        str(level >> bit & 1) if known >> bit & 1 else "?"
        for level, known in zip(rows.levels.tolist(), rows.known.tolist(), strict=True)
    )


def test_a_prediction_row_by_row() -> None:
    """A change is at a quarter of each step, and the level is read three quarters into it; what is unsettled does not
    count, nor what lies within half a step of a change elsewhere, nor what was before the slot was up."""
    lines = {
        "o0": line((0, 0), (2.25, 1), (5.25, 0), (6.25, UNKNOWN), (8.25, 1)),
        "o1": line((0, 1), (4.5, 0)),
    }
    at = Moments(("o0", "o1"), ((0.75,), (0.75,)), ((0.5,), (0.5,)))
    rows = predicted(told(lines, 10.0), at, 0.3)
    assert (rows.slots, rows.first) == (1, 0)
    assert bits(rows, 0) == "001110??11"
    assert bits(rows, 1) == "1111?00000"
    late = predicted(told(lines, 10.0, since=3.0), at, 0.3)
    assert (late.first, len(late.levels)) == (3, 7)
    assert bits(late, 0) == "110??11"
    # o1 moves in the step in which a hand lets go of restart: it may do so anywhere in it.
    moved = told({"o1": line((0, 1), (3.5, 0))}, 10.0, since=3.0)
    assert bits(predicted(moved, Moments(("o1",), ((0.75,),), ((0.5,),)), 0.1), 0) == "?000000"


def test_a_recording_row_by_row() -> None:
    """Within its bounds, by its clock, and not within the doubt of a change."""
    lines = {"o0": line((10.0, 0), (10.65, 1), (11.05, 0), (11.3, UNKNOWN), (11.5, 1))}
    at = Moments(("o0",), ((0.5,),), ((0.5,),))
    clock = Clock(np.array([10.0, 12.0]), np.array([100.0, 120.0]), 10.0, 0.0, 0.0, 0.1, spread=0.05)
    rows = recorded(lines, at, clock, (10.1, 11.88), 0.05)
    assert (rows.first, len(rows.levels)) == (101, 18)
    assert bits(rows, 0) == "00000?111?00??1111"
    again = recorded(lines, at, clock, (10.1, 11.8), 0.0)
    assert len(again.levels) == 17


def test_what_an_edge_costs_that_strayed_over_the_moment() -> None:
    """By the normal distribution an edge that is read a distance d beyond the moment, half a step from its place, is
    less likely than as far on this side by 2 * half * d / spread^2, in natural logarithms."""
    lines = {"o0": line((0.0, 0), (3.61, 1), (6.4, 0), (8.62, 1))}
    at = Moments(("o0",), ((0.5,),), ((0.3,),))
    clock = Clock(np.array([0.0, 10.0]), np.array([0.0, 10.0]), 1.0, 0.0, 0.02, 0.3, spread=0.1)
    rows = recorded(lines, at, clock, (0.0, 10.0), 0.0)
    assert bits(rows, 0) == "0000110001"
    assert rows.strays is not None
    price = 2 * 0.3 / (0.1**2 + 0.02**2) / math.log(2)
    found = {
        (side, row): float(rows.strays.bits(side, 0, np.array([row]))[0])
        for side in (0, 1)
        for row in np.flatnonzero(rows.strays.sides[side]).tolist()
    }
    # That at 6.4 stands 0.1 before the moment of row 6, and that at 3.61 0.11 behind that of row 3; none strays by more
    # than a quarter beyond what 99 % keep within, and by two deviations of the count of steps: that at 8.62 does not.
    assert found == {(0, 6): pytest.approx(price * 0.1), (1, 3): pytest.approx(price * 0.11)}
    sure = ReadRows(rows.levels, rows.sure, 1)
    assert bits(sure, 0) == "000?11?001"


def test_when_lines_move_to_known_levels() -> None:
    lines = {"o0": line((0, 0), (2.25, 1), (5.25, UNKNOWN), (6.25, 0), (8.25, 1))}
    times, levels = moves(told(lines, 10.0), "o0")
    assert (times.tolist(), levels.tolist()) == ([2.25, 8.25], [1, 1])
    assert changes(told(lines, 10.0, since=3.0), "o0").tolist() == [8.25]


def test_lines_of_unknown_levels_move_where_they_come_to_be_known() -> None:
    """So it is known where they keep still, though no level is known on both sides of any change."""
    lines = {"o0": line((0, 0), (2.75, UNKNOWN), (5.75, 1), (8.75, UNKNOWN)), "o1": line((0, UNKNOWN))}
    assert every_change(told(lines, 10.0), ("o0", "o1")).tolist() == [2.75, 5.75, 8.75]
    assert every_change(told(lines, 10.0, since=3.0), ("o0", "o1"), 1).tolist() == [5.75]
    assert moments(told(lines, 10.0), ("o0", "o1")).places == ((0.25,), (0.25,))
    lines["o1"] = line((0, 0), (3.5, 1))
    assert every_change(told(lines, 10.0), ("o0", "o1")).tolist() == [3.5]


def test_a_line_is_held_until_restart_is_let_go() -> None:
    """The input that moves as restart is let go is asked about twice: as a line, and whether it was held then."""
    lines = {"i6": line((0, 1), (3.5, 0)), "i3": line((0, 1)), "o0": line((0, 0), (5.25, 1))}
    at = moments(told(lines, 10.0, since=3.0), ("i6", "i3", "o0"))
    assert at.held == (("i6", 1),)
    assert (at.lines, at.slots, at.rise) == (4, 1, 0.0)
    rows = predicted(told(lines, 10.0, since=3.0), at, 0.1)
    assert bits(rows, 3) == "1" + "?" * 6
    seen = recorded({**lines}, at, steady(1.0), (0.0, 9.0), 0.0)
    # It was held at the rises from the second to the fourth, and then not any more.
    assert bits(seen, 3) == "?111" + "0" * 5


def test_a_list_row_by_row() -> None:
    """What is foretold at the end of each step from that on in which the slot is up; and what an eye wrote down."""
    lines = {"o0": line((0, 0), (2.25, 1), (5.25, 0)), "o1": line((0, UNKNOWN), (4.25, 1))}
    rows = foretold_list(told(lines, 8.0, since=2.0), ("o0", "o1"))
    assert rows.first == 2
    assert (bits(rows, 0), bits(rows, 1)) == ("111000", "??1111")
    seen = seen_list({"o1": line((7, 0), (9, 1), (10, UNKNOWN), (11, 0))}, ("o1",), 7.0, 12.0)
    assert (seen.first, bits(seen, 0)) == (7, "001?0")


def test_rows_in_which_nothing_was_read_save_nothing() -> None:
    known = np.array([0, 1, 1, 0, 0, 1, 1, 1], np.uint8)
    levels = np.array([0, 1, 0, 0, 0, 1, 1, 0], np.uint8)
    recording: Recording = timed(
        Moments(("o0",), ((0.5,),), ((0.5,),)), ReadRows(levels, known, 1), steady(1.0)
    )
    prediction = ReadRows(np.tile(levels, 2), np.ones(16, np.uint8), 1)
    span = Span.of(recording, prediction)
    assert span is not None
    saved = span.running(recording)
    assert np.isfinite(saved).all()
    number = int(np.flatnonzero(span.offsets(np.arange(span.count)) == 0)[0])
    assert saved[number, -1] == pytest.approx(recording.null_bits, rel=1e-5)
    assert saved[number, 2] == saved[number, 3] == saved[number, 4]
