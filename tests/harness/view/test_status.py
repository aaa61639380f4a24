"""The sentences of the status line, each as a person reads them."""

from __future__ import annotations

import pytest
from forelight.harness.view.status import ELSEWHERE, OFF, STOPPED, Status, Touch, sentences


def said(now: Status) -> list[str]:
    return sentences(now)


@pytest.mark.parametrize(
    ("now", "text"),
    [
        (Status("i7", hz=2.03804), "Step clock on i7: running at 2.03804 Hz."),
        (Status("own", hz=25e6), "Step clock on the board's own step line: running at 25 MHz."),
        (Status("i7", STOPPED), "Step clock on i7: stopped, the oscillator is off."),
        (Status("i7", OFF, 2), "Step clock off: i7 is stepped by hand at 2 Hz."),
        (Status("i7", OFF), "Step clock off: i7 is stepped by hand."),
        (
            Status("i3", ELSEWHERE, clock_line="i7"),
            "Step line i3: by hand; the board's step clock is on i7.",
        ),
        (Status(None), "Plain logic, without a step clock."),
    ],
)
def test_the_step_clock(now: Status, text: str) -> None:
    assert said(now) == [text]


def test_the_restart() -> None:
    assert said(Status("i7", restart_line="i6"))[1:] == ["Restart on i6 not held."]
    assert said(Status("i7", restart_line="own", restart_held=True))[1:] == [
        "Restart held by the board's own restart line."
    ]


@pytest.mark.parametrize(
    ("now", "text"),
    [
        (
            Status("i7", restart_line="i6", restart_held=True, still=True, holding=("i0",)),
            "Nothing moves: restart is held by i6.",
        ),
        (Status("i7", STOPPED, still=True), "Nothing moves: the oscillator is off."),
        (Status("i7", OFF, still=True), "Nothing moves: the step clock is off."),
        (Status("i7", still=True, holding=("i0",)), "Nothing moves: i0 holds it."),
        (Status("i7", still=True, holding=("i0", "i2")), "Nothing moves: i0 and i2 hold it."),
        (Status("i7", still=True, last_s=1.25), "Nothing has moved since 1.250 s."),
        (Status("i7", still=True), "Nothing has moved yet."),
        (Status(None, still=True), "Nothing moves: plain logic moves only when an input does."),
    ],
)
def test_why_nothing_moves(now: Status, text: str) -> None:
    assert said(now)[-1] == text


def test_when_something_will_move_again() -> None:
    now = Status("i7", still=True, last_s=1, next_s=13.4)
    assert sentences(now)[-2:] == ["Nothing has moved since 1.000 s.", "The next change comes at 13.400 s."]


@pytest.mark.parametrize(
    ("touch", "text"),
    [
        (
            Touch("i0", 1.0, 1.005, seen=False),
            "The press of i0 lay between two steps and was not seen: 1.000 to 1.005 s.",
        ),
        (
            Touch("i0", 1.0, 1.0001, rises=0, seen=False),
            "The press of i0 was too short to reach the design: 1.000 to 1.000 s.",
        ),
        (Touch("i0", 1, 2, 4, 4), "The contact of i0 touched four times; the design saw four rises."),
        (Touch("i0", 1, 2, 4, 1), "The contact of i0 touched four times; the design saw one rise."),
        (Touch("i0", 1, 2, 2, 2), "The contact of i0 touched twice; the design saw two rises."),
    ],
)
def test_what_became_of_a_contact(touch: Touch, text: str) -> None:
    assert said(Status("i7", touches=(touch,)))[1:] == [text]


def test_a_plain_press_is_not_mentioned() -> None:
    assert len(said(Status("i7", touches=(Touch("i0", 1, 2),)))) == 1
