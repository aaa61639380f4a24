"""The plan of the moving preview."""

from __future__ import annotations

from collections.abc import Callable

from forelight.harness.boards.segments import SEGMENTS, SMALL
from forelight.harness.golden.golden import Golden
from forelight.harness.view.display import UNICODE
from forelight.harness.view.live import face, plan

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


def test_years_in_which_nothing_moves_cost_nothing(make_golden: MakeGolden) -> None:
    late = 10**12  # a thousand million seconds of a board of a thousand ticks a second
    shots = plan(make_golden([(0, 1), (late, 2)], late + 1000), rate=25)
    assert [(time, shot.lamps[:2]) for time, shot in shots] == [(0.0, (1, 0)), (late / 1000, (0, 1))]


def test_speed_scales_the_times(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 1), (400, 2), (1000, 3)], 2000)
    assert [time for time, _ in plan(golden, speed=0.5)] == [0.0, 0.8, 2.0]
    assert [time for time, _ in plan(golden, speed=5)] == [0.0, 0.08, 0.2]


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
