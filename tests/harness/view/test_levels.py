"""Rows of levels as exact strings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from forelight.harness.golden.golden import Golden
from forelight.harness.view.display import ASCII, UNICODE
from forelight.harness.view.levels import drawn, of_interest, recent, room
from forelight.harness.view.stave import BLOCKS, PLAIN, as_text

MakeGolden = Callable[..., Golden]
MEANS = {"i0": "hold", "o1": "the tide is rising"}


def ramp(make_golden: MakeGolden) -> Golden:
    """A step every 100 ticks; o0 follows the step, o1 every second one, o2 is unsettled for three."""
    return make_golden([(100 * n, n & 3, 0b100 if n < 3 else 0) for n in range(8)], 800)


def test_a_column_for_each_step(make_golden: MakeGolden) -> None:
    golden = ramp(make_golden)
    rows = recent(golden, ["i0", "o0", "o1", "o2"], 80)
    assert rows.first_step == 0
    assert {line: as_text(states, PLAIN) for line, states in rows.rows.items()} == {
        "i0": "________",
        "o0": "_-_-_-_-",
        "o1": "__--__--",
        "o2": "???_____",
    }
    assert [line.plain for line in drawn(rows, MEANS, 1000, 80, BLOCKS, UNICODE)] == [
        "Levels from step 0 to step 7, a character each:",
        "i0 hold                ▁▁▁▁▁▁▁▁",
        "o0                     ▁▔▁▔▁▔▁▔",
        "o1 the tide is rising  ▁▁▔▔▁▁▔▔",
        "o2                     ???▁▁▁▁▁",
    ]


def test_only_the_recent_ones_fit(make_golden: MakeGolden) -> None:
    golden = ramp(make_golden)
    assert recent(golden, ["o0"], 3).bounds == (500, 600, 700, 800)
    assert recent(golden, ["o0"], 3).first_step == 5
    assert as_text(recent(golden, ["o0"], 3, until=350).rows["o0"], PLAIN) == "-_-"
    wide = room(["o1"], MEANS, 40)
    assert wide == 40 - 2 - 18
    text = [line.plain for line in drawn(recent(golden, ["o1"], wide), MEANS, 1000, 40, PLAIN, ASCII)]
    assert text[1] == "o1 the tide is...   __--__--"
    assert max(map(len, text[1:])) <= 40


def test_equal_parts_where_nothing_steps(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 0), (500, 1)], 1000)
    golden = replace(golden, steps=np.zeros(2, np.int64))
    rows = recent(golden, ["o0"], 4)
    assert (rows.first_step, as_text(rows.rows["o0"], PLAIN)) == (None, "__--")
    assert (
        drawn(rows, {}, 1000, 80, PLAIN, ASCII)[0].plain
        == "Levels from 0.000 s to 1.000 s, 0.250 s a character:"
    )


def test_lines_worth_a_row(make_golden: MakeGolden) -> None:
    assert of_interest(ramp(make_golden), MEANS, "i7") == ["i0", "o0", "o1", "o2"]
