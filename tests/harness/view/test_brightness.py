"""What the eye sees, against the Talbot-Plateau law and the sRGB transfer function."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from forelight.harness.golden.golden import Golden
from forelight.harness.view.brightness import seen, srgb_from_luminance
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .srgb import luminance_from_srgb

MakeGolden = Callable[..., Golden]
shared = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=200, deadline=None
)


def pulses(period: int, on: int, count: int, start: int = 0) -> list[tuple[int, ...]]:
    rows: list[tuple[int, ...]] = [
        (start + n * period + edge, level) for n in range(count) for edge, level in ((0, 1), (on, 0))
    ]
    return [(0, 0), *rows] if start else rows


@pytest.mark.parametrize(("period", "on"), [(2, 1), (10, 3), (16, 15)])
def test_light_above_fusion_is_seen_at_its_time_average(
    make_golden: MakeGolden, period: int, on: int
) -> None:
    # Talbot-Plateau law: brightness equals the duty. 1000 ticks a second, so a period of 16 is 62.5 Hz.
    sight = seen(make_golden(pulses(period, on, 100), 100 * period))
    assert sight.times.tolist() == [0]
    assert sight.levels[0].tolist() == [pytest.approx(on / period, abs=1e-4), 0, 0, 0, 0, 0, 0, 0]


@pytest.mark.parametrize("cut", [0, 1, 3, 5, 9])
def test_a_record_that_begins_or_ends_within_a_cycle_is_no_brighter_or_darker(
    make_golden: MakeGolden, cut: int
) -> None:
    rows = [(max(time - cut, 0), level) for time, level in pulses(10, 4, 30) if time >= cut]
    if rows[0][0] > 0:
        rows = [(0, 1 - rows[0][1]), *rows]
    sight = seen(make_golden(rows, 297 - cut))
    assert sight.times.tolist() == [0]
    assert sight.levels[0, 0] == pytest.approx(0.4)


def test_light_below_fusion_is_seen_flickering(make_golden: MakeGolden) -> None:
    sight = seen(make_golden(pulses(21, 7, 4), 84))
    assert sight.times.tolist() == [0, 7, 21, 28, 42, 49, 63, 70]
    assert sight.levels[:, 0].tolist() == [1, 0] * 4


def test_fusion_depends_on_the_speed_of_the_preview(make_golden: MakeGolden) -> None:
    golden = make_golden(pulses(10, 5, 50), 500)
    assert seen(golden).levels[:, 0].tolist() == [0.5]
    assert seen(golden, speed=0.4).levels[:, 0].tolist() == [1, 0] * 50  # 40 Hz to the eye


def test_a_burst_begins_and_ends_where_it_does(make_golden: MakeGolden) -> None:
    golden = make_golden([*pulses(10, 3, 60, start=1000), (2500, 2)], 3000)
    sight = seen(golden)
    assert sight.times.tolist() == [0, 1000, 1600, 2500]
    assert sight.levels[:, 0].tolist() == [0, 0.3, 0, 0]
    assert sight.levels[:, 1].tolist() == [0, 0, 0, 1]


def test_short_dark_gaps_dim_a_lit_lamp(make_golden: MakeGolden) -> None:
    rows = [(0, 1), *((1000 + 10 * n + edge, level) for n in range(40) for edge, level in ((0, 0), (2, 1)))]
    sight = seen(make_golden(rows, 3000))
    assert sight.times.tolist() == [0, 1000, 1400]
    assert sight.levels[:, 0].tolist() == [1, 0.8, 1]


def test_a_single_short_pulse_is_kept_with_its_light(make_golden: MakeGolden) -> None:
    sight = seen(make_golden([(0, 0), (500, 1), (501, 0)], 1000))
    assert sight.times.tolist() == [0, 500, 530]
    assert sight.levels[:, 0].tolist() == [0, pytest.approx(1 / 30, abs=1e-4), 0]


def test_a_change_of_duty_is_followed_within_the_time_that_the_eye_adds_up(make_golden: MakeGolden) -> None:
    golden = make_golden([*pulses(10, 2, 100, start=1000), *pulses(10, 6, 100, start=2000)[1:]], 3000)
    sight = seen(golden)
    assert sight.times.tolist() == [0, 1000, 1990, 2020]
    assert sight.levels[:, 0].tolist() == [0, 0.2, pytest.approx((0.2 + 2 * 0.6) / 3, abs=1e-4), 0.6]


def test_unsettled_is_kept_apart_from_dark(make_golden: MakeGolden) -> None:
    sight = seen(make_golden([(0, 0, 1), (500, 0), (800, 1)], 1000))
    assert sight.times.tolist() == [0, 500, 800]
    assert sight.unsettled[:, 0].tolist() == [True, False, False]
    assert not sight.unsettled[:, 1:].any()


def test_a_line_that_is_unsettled_time_and_again_is_unsettled_throughout(make_golden: MakeGolden) -> None:
    rows = [(n * 10 + edge, 0, mark) for n in range(50) for edge, mark in ((0, 1), (4, 0))]
    sight = seen(make_golden(rows, 1000))
    assert sight.times.tolist() == [0, 494]
    assert sight.unsettled[:, 0].tolist() == [True, False]


@shared
@given(st.lists(st.tuples(st.integers(1, 60), st.integers(0, 255)), min_size=1, max_size=60))
def test_no_light_is_lost_or_added(make_golden: MakeGolden, spans: list[tuple[int, int]]) -> None:
    times = np.cumsum([1000, *(span for span, _ in spans)]).tolist()  # dark for long before and after
    rows = [
        (0, 0),
        *((time, outputs) for time, (_, outputs) in zip(times, spans, strict=False)),
        (times[-1], 0),
    ]
    golden = make_golden(rows, times[-1] + 1000)
    sight = seen(golden)
    lasting = np.diff(np.append(golden.ticks, golden.end))
    for bit in range(8):
        light = float((lasting * (golden.outputs >> bit & 1)).sum())
        seen_light = float((np.diff(np.append(sight.times, sight.end)) * sight.levels[:, bit]).sum())
        assert seen_light == pytest.approx(light, abs=1e-4 * golden.end + 1e-9)
    assert np.all(np.diff(np.append(sight.times, sight.end)) > 0)
    assert not sight.unsettled.any()


def test_srgb_transfer_function() -> None:
    # IEC 61966-2-1: linear part of slope 12.92 up to 0.0031308, exponent 2.4 above; half of the light is
    # level 188, a fifth 124, and level 118 has 18 % (from memory).
    assert [srgb_from_luminance(share) for share in (0, 0.001, 0.18, 0.2, 0.5, 1, 2, -1)] == [
        0,
        3,
        118,
        124,
        188,
        255,
        255,
        0,
    ]
    assert all(srgb_from_luminance(luminance_from_srgb(level)) == level for level in range(256))
    assert luminance_from_srgb(10) == pytest.approx(10 / 255 / 12.92)
