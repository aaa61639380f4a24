"""What a run reveals, word by word."""

from __future__ import annotations

import doctest
from itertools import pairwise

from forelight.harness.coverage import words
from forelight.harness.coverage.record import Coverage, Growth, StuckLine
from forelight.harness.coverage.words import brief, curve, drawn, missed, told


def test_what_the_docstrings_show() -> None:
    result = doctest.testmod(words)
    assert result.attempted and not result.failed


def test_a_curve_rises_to_the_share() -> None:
    found = Coverage(20, 20, 15, growth=(Growth(0, 0.0, 5), Growth(3, 1.5, 10), Growth(9, 4.5, 15)))
    assert list(curve(found)) == [
        "  by step 0     ##########                                25.0 %",
        "  by step 3     ####################                      50.0 %",
        "  by step 9     ##############################            75.0 %",
    ]


def test_of_many_steps_eight_are_shown_the_first_and_the_last_among_them() -> None:
    found = Coverage(40, 40, 40, growth=tuple(Growth(3 * n, float(n), n + 1) for n in range(40)))
    steps = [int(line.split()[2]) for line in curve(found)]
    assert (len(steps), steps[0], steps[-1]) == (8, 0, 117)
    assert max(later - step for step, later in pairwise(steps)) <= 18  # some 117 / 7 each


def test_moments_where_there_are_no_steps() -> None:
    found = Coverage(20, 20, 15, growth=(Growth(0, 0.25, 5), Growth(0, 1.25, 15)))
    assert [line.split("#")[0].strip() for line in curve(found)] == ["by 0.250 s", "by 1.250 s"]


def test_what_is_missed_by_line_of_the_source() -> None:
    lines = [
        StuckLine(0, "i0", 0),
        StuckLine(1, "count[1]", 1, ("design.v:7",)),
        StuckLine(2, "count[1]", 0, ("design.v:7",)),
        StuckLine(3, "an and gate on the way to o0", 0, ("design.v:9",)),
    ]
    assert list(missed(lines)) == [
        "  design.v:7: count[1] stuck at 0 or 1",
        "  i0 stuck at 0",
        "  design.v:9: an and gate on the way to o0 stuck at 0",
    ]


def test_all_in_sentences() -> None:
    line = StuckLine(0, "i0", 0, ("design.v:3",))
    found = Coverage(10, 10, 7, (line, line), (line,), (Growth(0, 0.0, 7),))
    said = list(told(found))
    assert said[0] == (
        "This run would reveal 7 of 9 (77.8 %) of the faults in which one line of the design is always 0 or always 1: "
        "a settled output is another than foretold."
    )
    assert said[1].startswith("1 more could be revealed by no run: ")
    assert said[-2:] == ["It would miss:", "  design.v:3: i0 stuck at 0"]
    assert drawn(found) == "" and "chance" in drawn(Coverage(5000, 1000, 500))


def test_in_brief_where_most_is_missed() -> None:
    one, two = (StuckLine(n, f"n{n}", 0, (f"design.v:{n + 3}",)) for n in range(2))
    assert list(brief(Coverage(10, 10, 7, (one, one, two)), "Its run")) == [
        "Its run would reveal 7 of 10 (70.0 %) of the faults in which one line of the design is always 0 or always 1.",
        "Most of those that are missed lie at design.v:3 (2), design.v:4 (1).",
    ]
