"""The status line of predictions: what stands, why nothing moves, and what became of each press."""

from __future__ import annotations

import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.harness.bench.inside import Inside
from forelight.harness.bench.predict import predict
from forelight.harness.bench.watch import Watch
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import bring_up
from forelight.harness.view.status import sentences


def watched(design: str, *do: str, board: str = "quay") -> Watch:
    """Of a design that is brought up and then treated so."""
    on, sheet = load_board(board), load_design(design)
    procedure = Procedure("tried", (*bring_up(on, sheet), *parse(list(do))))
    return Watch(Inside.of(on, sheet, procedure, 0), predict(on, sheet, procedure, slot=0, power_ups=4))


def at_end(design: str, *do: str, board: str = "quay") -> list[str]:
    found = watched(design, *do, board=board)
    return sentences(found.status(found.golden.end))


@pytest.mark.parametrize(
    ("do", "says"),
    [
        (["restart", "steps 3"], ["running at 2.03804 Hz.", "Restart on i6 not held."]),
        (["restart", "set i0=1", "steps 9"], ["Nothing moves: i0 holds it."]),
        (["restart", "steps 3", "press i6", "wait 3 s"], ["Nothing moves: restart is held by i6."]),
        (["restart", "steps 3", "disable", "wait 3 s"], ["Step clock off: i7 is", "the step clock is off."]),
        (
            ["restart", "steps 3", "oscillator off", "wait 3 s"],
            ["stopped, the oscillator is off.", "Nothing moves: the oscillator is off."],
        ),
    ],
)
def test_what_stands_and_why_nothing_moves(do: list[str], says: list[str]) -> None:
    said = " ".join(at_end("tide_gauge", *do))
    for sentence in says:
        assert sentence in said


def test_of_outputs_that_nobody_can_foretell_it_is_not_said_that_they_rest() -> None:
    assert at_end("free_counter", "steps 9") == ["Step clock on i7: running at 2.03804 Hz."]
    assert at_end("free_counter", "set i0=1", "steps 9")[-1] == "Nothing moves: i0 holds it."


def test_plain_logic_and_a_board_with_lines_of_its_own() -> None:
    assert at_end("watch_vote", "wait 3 s") == [
        "Plain logic, without a step clock.",
        "Nothing moves: plain logic moves only when an input does.",
    ]
    # On a chain no input reaches the design without the oscillator, and no step by hand does.
    off = "Nothing moves: the oscillator is off."
    assert at_end("watch_vote", "oscillator off", "wait 3 s")[-1] == off
    by_hand = at_end("tide_gauge", "restart", "disable", "oscillator off", "wait 3 s")
    assert by_hand[0].startswith("Step clock off: i7 is stepped by hand")
    assert by_hand[-1] == off
    said = at_end("tide_gauge", "restart", "steps 2", board="mole")
    assert said == [
        "Step clock on the board's own step line: running at 2 Hz.",
        "Restart on the board's own restart line not held.",
    ]


def test_while_it_goes_on_something_else_may_be_said() -> None:
    found = watched("tide_gauge", "restart", "steps 3", "set i0=1", "wait 5 s", "set i0=0", "steps 3")
    hz = found.golden.oscillator_hz
    held = int(found.golden.ticks[found.golden.inputs & 1 == 1][0]) + hz
    assert any("i0 holds it" in sentence for sentence in sentences(found.status(held)))
    assert any(sentence.startswith("The next change comes at ") for sentence in sentences(found.status(held)))
    assert not any("holds" in sentence for sentence in sentences(found.status(found.golden.end)))


def test_a_press_between_two_steps_is_not_seen() -> None:
    unseen = ["steps 3", "wait 50 ms", "press i0", "wait 5 ms", "release i0", "steps 2"]
    said = at_end("tide_gauge", "restart", *unseen)[-1]
    assert said.startswith("The press of i0 lay between two steps and was not seen: ")
    start, end = (float(word) for word in said.rstrip("s. ").split(": ")[1].replace(" s", "").split(" to "))
    assert end - start == pytest.approx(0.005, abs=0.002)
    # One that holds over a step is seen, and nothing is said of it.
    assert len(at_end("tide_gauge", "restart", "press i0", "steps 2", "release i0", "steps 2")) == 2


def test_a_contact_that_bounces_is_counted() -> None:
    # Steps follow one another every third of a millisecond here, so each touch is seen.
    found = watched("dice", "restart", "steps 50", "press i0 bouncing", "steps 90", "release i0", "steps 50")
    (touch,) = found.touches
    assert (touch.line, touch.touches, touch.seen) == ("i0", 4, True)
    levels = found.golden.inputs & 1
    assert touch.rises == int(((levels[1:] == 1) & (levels[:-1] == 0)).sum())


def test_a_bouncing_contact_is_told_of_as_soon_as_it_rests() -> None:
    """While the button is still held, too: nobody waits for the release to hear that four steps were made of one."""
    do = ["disable", "restart", "press i7 bouncing", "wait 1 s"]
    found = watched("tide_gauge", *do)
    told = "The contact of i7 touched four times; the design saw four rises."
    assert sentences(found.status(found.golden.end))[-1] == told
    assert at_end("tide_gauge", *do, "release i7", "wait 1 s")[-1] == told
    (touch,) = found.status(found.golden.end).touches
    early = round((touch.start_s + 0.001) * found.golden.oscillator_hz)
    assert told not in sentences(found.status(early))
