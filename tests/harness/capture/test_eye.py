"""What an eye wrote down: characters of seven segments, with and without a count of steps."""

from __future__ import annotations

import pytest
from forelight.harness.capture.eye import SHAPES
from forelight.harness.capture.readers import parse_capture
from forelight.sim.errors import CaptureError

DISPLAY = {"o0": "a", "o1": "b", "o2": "c", "o3": "d", "o4": "e", "o5": "f", "o6": "g", "o7": "point"}


def seen(text: str, step: int) -> tuple[str, tuple[str, ...]]:
    """What the capture holds for o0 to o7 at this step, ? for a gap, and its notes."""
    capture = parse_capture(text.encode(), "eye.csv", display=DISPLAY)
    assert not capture.timed
    row = [line.levels[line.times <= step][-1] for line in (capture.lines[f"o{n}"] for n in range(8))]
    return "".join("01?"[level] for level in row), capture.notes


def test_characters_with_steps_points_and_what_was_not_read() -> None:
    text = "step,shown\n0,3.\n1,b\n4,?\n5,blank\n6,6\n7,B.\n"
    no_notes: tuple[str, ...] = ()
    for step, levels in {
        0: "11110011",
        1: "00111110",
        2: "????????",
        4: "????????",
        5: "00000000",
        6: "?0111110",
        7: "00111111",
    }.items():
        assert seen(text, step) == (levels, no_notes)


def test_characters_alone_are_steps_one_after_the_other() -> None:
    found = seen("Shown\r\n7\r\n9\r\n", 1)
    assert found == (
        "111?011?",
        (
            "The rows have no step: each was taken as the next one.",
            "No point was noted: it was not compared.",
        ),
    )
    assert seen("outputs\n10000001\n00000011\n", 1)[0] == "11000000"


def test_no_two_digits_look_alike() -> None:
    """However the open bars stand."""
    digits = [SHAPES[digit].partition("?") for digit in "0123456789"]
    for first, _, open_first in digits:
        same = [lit for lit, _, either in digits if not set(first) ^ set(lit) - set(open_first) - set(either)]
        assert len(same) == 1


def test_what_seven_segments_do_not_show_is_refused() -> None:
    with pytest.raises(CaptureError) as caught:
        seen("shown\n1\nM\n", 0)
    assert str(caught.value).startswith(
        "eye.csv, line 3: 'M' is nothing that seven segments show; write one of 0 1 2"
    )
