"""The plan of the moving preview, and the guard against flashing."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from forelight.harness.boards.segments import SEGMENTS, SMALL
from forelight.harness.golden.golden import Golden
from forelight.harness.view.display import UNICODE
from forelight.harness.view.live import Flashing, face, flashing, plan

MakeGolden = Callable[..., Golden]


def blink(make_golden: MakeGolden, hz: float, seconds: int = 4, high: int = 1, low: int = 0) -> Golden:
    """Equal times high and low on a board of 120000 ticks a second."""
    half = round(60000 / hz)
    return make_golden(
        [(n * half, low if n % 2 else high) for n in range(seconds * 120000 // half)],
        seconds * 120000,
        hz=120000,
    )


def test_plan_lists_each_picture_once(make_golden: MakeGolden) -> None:
    shots = plan(make_golden([(0, 1), (400, 2), (1000, 3)], 2000), rate=25)
    assert [(time, shot.step, shot.lamps[:2]) for time, shot in shots] == [
        (0.0, 0, (1, 0)),
        (0.4, 1, (0, 1)),
        (1.0, 2, (1, 1)),
    ]


def test_speed_scales_the_times(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 1), (400, 2), (1000, 3)], 2000)
    assert [time for time, _ in plan(golden, speed=0.5)] == [0.0, 0.8, 2.0]
    assert [time for time, _ in plan(golden, speed=10)] == [0.0, 0.04, 0.08]


def test_a_flash_between_two_pictures_is_seen_dimly(make_golden: MakeGolden) -> None:
    shots = plan(make_golden([(0, 0), (405, 1), (415, 0)], 1000), rate=25)
    assert [(time, shot.lamps[0]) for time, shot in shots] == [(0.0, 0), (0.4, 0.25), (0.44, 0)]


def test_fast_segments_stand_still_at_their_average(make_golden: MakeGolden) -> None:
    shots = plan(blink(make_golden, 100), rate=25)
    assert [(time, shot.lamps[0]) for time, shot in shots] == [(0.0, 0.5)]


def test_unsettled_shows_even_if_it_is_short(make_golden: MakeGolden) -> None:
    shots = plan(make_golden([(0, 0), (395, 0, 1), (425, 0)], 1000), rate=25)
    assert [(time, shot.lamps[0]) for time, shot in shots] == [(0.0, 0), (0.36, None), (0.4, 0)]
    shots = plan(make_golden([(0, 0), (405, 0, 1), (415, 0)], 1000), rate=25)
    assert [(time, shot.lamps[0]) for time, shot in shots] == [(0.0, 0), (0.4, None), (0.44, 0)]


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


def test_face(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 0x06), (500, 0xDB, 0x08)], 1500)
    wiring = {f"o{line}": segment for line, segment in enumerate(SEGMENTS)}
    _, picture = plan(golden)[-1]
    assert [line.plain for line in face(picture, wiring, "0.8 s of 1.5 s", size=SMALL, glyphs=UNICODE)] == [
        " ███   ",
        "·   █  ",
        " ███   ",
        "█   ·  ",
        " ???  █",
        "0.8 s of 1.5 s  step 1  1101?011",
    ]
    bare = face(picture, {}, "0.8 s", size=SMALL, glyphs=UNICODE)
    assert [line.plain for line in bare] == ["0.8 s  step 1  1101?011"]
