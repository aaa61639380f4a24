"""When the board takes a button: at once, or after it has been held for as long as its debounce asks."""

from __future__ import annotations

from dataclasses import replace

from forelight.harness.hand.buttons import BOUNCES, Buttons

from .hand_plans import CHAIN

#: A frame is 48 ticks: 100 ticks are 2.08 frames, so three.
PATIENT = replace(CHAIN, debounce={"i2": 100})


def test_without_debounce_a_button_counts_at_once() -> None:
    buttons = Buttons(CHAIN)
    buttons.move("i2", True, 5)
    assert (buttons.held, buttons.taken, buttons.due) == (4, 0, {2: 5})
    buttons.settle(5)
    assert (buttons.taken, buttons.due) == (4, {})
    buttons.move("i0", True, 6)
    buttons.move("i2", False, 6)
    buttons.settle(6)
    assert (buttons.held, buttons.taken) == (1, 1)


def test_with_debounce_it_counts_once_it_has_been_held() -> None:
    buttons = Buttons(PATIENT)
    buttons.move("i2", True, 10)
    buttons.settle(12)
    assert (buttons.held, buttons.taken) == (4, 0)
    buttons.settle(13)
    assert buttons.taken == 4
    buttons.move("i2", False, 20)
    buttons.move("i3", True, 21)  # another one does not hurry it
    buttons.settle(21)
    assert (buttons.held, buttons.taken) == (8, 12)
    buttons.settle(23)
    assert buttons.taken == 8


def test_back_before_it_counted_it_was_nothing() -> None:
    buttons = Buttons(PATIENT)
    buttons.move("i2", True, 0)
    buttons.move("i2", False, 2)
    assert buttons.due == {}
    buttons.settle(9)
    assert buttons.taken == 0
    buttons.move("i2", True, 10)
    buttons.move("i2", True, 12)  # held on: the time counts from the first
    buttons.settle(13)
    assert buttons.taken == 4


def test_a_copy_goes_its_own_way() -> None:
    buttons = Buttons(PATIENT)
    buttons.move("i2", True, 0)
    other = buttons.copy()
    other.settle(3)
    assert (buttons.held, buttons.taken, buttons.due) == (4, 0, {2: 3})
    assert (other.held, other.taken, other.due) == (4, 4, {})


def test_bounces_come_to_rest() -> None:
    assert len(BOUNCES) % 2 == 0 and list(BOUNCES) == sorted(BOUNCES)
