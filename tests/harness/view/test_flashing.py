"""The guard against flashing, by the criteria of WCAG."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from forelight.harness.golden.golden import Golden
from forelight.harness.view.flashing import Flashing, flashing

MakeGolden = Callable[..., Golden]


def blink(make_golden: MakeGolden, hz: float, seconds: int = 4, high: int = 1, low: int = 0) -> Golden:
    """Equal times high and low on a board of 120000 ticks a second."""
    half = round(60000 / hz)
    return make_golden(
        [(n * half, low if n % 2 else high) for n in range(seconds * 120000 // half)],
        seconds * 120000,
        hz=120000,
    )


@pytest.mark.parametrize(
    ("hz", "flashes", "too_much"),
    [(1, 1.0, False), (3, 3.0, False), (3.2, 3.5, True), (5, 5.0, True), (40, 40.0, True)],
)
def test_guard_counts_flashes_in_the_worst_second(
    make_golden: MakeGolden, hz: float, flashes: float, too_much: bool
) -> None:
    # WCAG 2.2, success criterion 2.3.1: no more than three flashes in any one second period.
    found = flashing(blink(make_golden, hz))
    assert found == Flashing(flashes, "o0")
    assert found.too_much is too_much


def test_light_that_fuses_does_not_flash(make_golden: MakeGolden) -> None:
    assert flashing(blink(make_golden, 100)).flashes == 0


def test_speed_counts(make_golden: MakeGolden) -> None:
    assert flashing(blink(make_golden, 5), speed=0.5).flashes == 2.5
    assert flashing(blink(make_golden, 1, seconds=12), speed=6).flashes == 6


def test_changes_without_an_opposite_are_not_flashes(make_golden: MakeGolden) -> None:
    # Eight lamps coming on one after the other within a second: one change, hence half a pair.
    golden = make_golden([(n * 100, (1 << n) - 1) for n in range(9)], 2000)
    assert flashing(golden).flashes == 0.5


def test_the_display_as_a_whole_counts(make_golden: MakeGolden) -> None:
    # Six lamps take turns, each lit once in 1.2 s; all dark between: no lamp flashes much, the display does.
    rows = [(n * 200 + edge, 1 << n % 6 if lit else 0) for n in range(12) for edge, lit in ((0, 1), (100, 0))]
    assert flashing(make_golden(rows, 2400)) == Flashing(5.0, "display")


def test_small_changes_are_not_flashes(make_golden: MakeGolden) -> None:
    # Duty 0.50 and 0.55 in turns, ten times a second: less than 10 % of maximum relative luminance.
    rows = [
        (block * 1000 + cycle * 100 + edge, level)
        for block in range(20)
        for cycle in range(10)
        for edge, level in ((0, 1), (50 + 5 * (block % 2), 0))
    ]
    assert flashing(make_golden(rows, 20000, hz=10000)).flashes == 0


def dimming(make_golden: MakeGolden, duty: int) -> Golden:
    """A lamp that is half lit, five times a second by so many percent more, in periods of 10 ms."""
    rows = [
        (block * 1000 + cycle * 100 + edge, level)
        for block in range(30)
        for cycle in range(10)
        for edge, level in ((0, 1), (50 + duty * (block % 2), 0))
    ]
    return make_golden(rows, 30_000, hz=10_000)


def test_flashes_of_red_count_from_a_sixteenth_of_the_light_on(make_golden: MakeGolden) -> None:
    # WCAG, red flash: (R - G - B) x 320 moves by more than 20. A general flash needs 10 %.
    assert flashing(dimming(make_golden, 5)).flashes == 0
    found = flashing(dimming(make_golden, 8))
    assert (found.red, found.too_much, found.line) == (True, True, "o0")
    assert found.flashes == pytest.approx(5, abs=0.5)
    assert str(found).startswith("o0 flashes in red ")
    general = flashing(dimming(make_golden, 14))
    assert (general.red, general.too_much) == (False, True)


def test_red_counts_where_the_darker_picture_is_bright(make_golden: MakeGolden) -> None:
    # A general flash has its darker picture below 0.80 of the maximum.
    rows = [
        (block * 1000 + cycle * 100 + edge, level)
        for block in range(30)
        for cycle in range(10)
        for edge, level in ((0, 1), (99 - 15 * (block % 2), 0))
    ]
    found = flashing(make_golden(rows, 30_000, hz=10_000))
    assert (found.red, found.too_much) == (True, True)
