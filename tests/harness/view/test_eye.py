"""What the eye makes of lamps and displays, against published laws, brute-force integration and a second reading."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from forelight.harness.boards.reader import load_board
from forelight.harness.golden.golden import Golden
from forelight.harness.view.brightness import line_seen, seen
from forelight.harness.view.eye import Impression, fastest, impressions, of_lamp, readable_codes
from forelight.harness.view.limits import (
    FUSION_HZ,
    READABLE_S,
    SUMMED_IN_A_BRIGHT_ROOM_S,
)
from forelight.sim.levels import UNKNOWN
from hypothesis import given, settings
from hypothesis import strategies as st

MakeGolden = Callable[..., Golden]
HZ = 100_000


def lamp(*spans: tuple[float, float]) -> Impression:
    """Of (seconds, level) one after another."""
    times = np.cumsum([0, *(round(span * HZ) for span, _ in spans)])
    return of_lamp(times[:-1], np.array([level for _, level in spans], np.float64), int(times[-1]), HZ)


def square(hz: float, duty: float, seconds: float) -> list[tuple[float, float]]:
    return [(duty / hz, 1), ((1 - duty) / hz, 0)] * round(seconds * hz)


def test_a_lamp_that_never_changes_is_steady() -> None:
    assert lamp((3, 1)) == Impression("steady", 1)
    assert lamp((3, 0)) == Impression("steady", 0)
    assert lamp((3, UNKNOWN)).kind == "unsettled"


@pytest.mark.parametrize("hz", [61, 93.75, 1000, 25_000])
@pytest.mark.parametrize("duty", [0.25, 0.5, 0.75])
def test_above_fusion_only_the_mean_is_seen(hz: float, duty: float) -> None:
    # Law of Talbot and Plateau: the brightness is the time average, here the duty.
    found = lamp(*square(hz, duty, 2))
    assert found.kind == "blended"
    assert found.level == pytest.approx(duty, abs=0.01)
    assert found.hz == pytest.approx(hz, rel=0.01)


@pytest.mark.parametrize("hz", [3, 8, 30, 50, 59])
def test_between_reading_and_fusion_it_flickers(hz: float) -> None:
    found = lamp(*square(hz, 0.5, 2))
    assert found.kind == "flickering"
    assert found.hz == pytest.approx(hz, rel=0.02)
    assert found.shortest_s == pytest.approx(0.5 / hz, rel=0.01)


def test_readable_begins_where_each_level_stays_long_enough() -> None:
    slow, fast = READABLE_S * 1.001, READABLE_S * 0.999
    assert lamp((1, 0), (slow, 1), (slow, 0), (1, 1)).kind == "readable"
    assert lamp((1, 0), (slow, 1), (fast, 0), (1, 1)).kind == "flickering"
    # What the record cuts short says nothing.
    assert lamp((0.01, 0), (slow, 1), (0.01, 0)).kind == "readable"
    # Nor does what nobody knows.
    assert lamp((1, 1), (0.01, UNKNOWN), (1, 1)).kind == "steady"


def test_bursts_of_a_tone_are_readable_if_they_are_long() -> None:
    burst = square(375, 0.5, 1)
    assert lamp((1, 0), *burst, (1, 0)).kind == "readable"
    assert lamp((1, 0), *square(375, 0.5, 0.1), (1, 0)).kind == "flickering"


@pytest.mark.parametrize("millis", [1, 3, 10, 29])
def test_short_flashes_follow_bloch(millis: int) -> None:
    # Bloch's law: intensity times duration is constant up to the time over which the eye adds up.
    times, levels = line_seen(np.array([0, 1000, 1000 + millis]), np.array([0.0, 1, 0]), 3000, 1000)
    lasts = SUMMED_IN_A_BRIGHT_ROOM_S * 1000
    assert times.tolist() == [0, 1000, 1000 + lasts]
    assert levels[1] * lasts == pytest.approx(millis, rel=1e-3)


def test_a_short_gap_of_dark_is_as_faint_as_a_short_flash() -> None:
    times, levels = line_seen(np.array([0, 1000, 1003]), np.array([1.0, 0, 1]), 3000, 1000)
    assert (times.tolist(), levels.tolist()) == ([0, 1000, 1030], [1, 0.9, 1])


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.integers(1, 9), min_size=2, max_size=12).filter(lambda runs: len(runs) % 2 == 0),
    st.integers(3, 40),
)
def test_repeated_patterns_are_seen_at_their_integral(runs: list[int], times: int) -> None:
    # Brute force: the light of every tick of whole patterns, added up, against what is drawn.
    ticks = np.cumsum([0, *runs * times])
    states = np.arange(len(ticks) - 1) % 2 == 0
    every = np.repeat(states, np.diff(ticks)).astype(np.float64)
    hz = 60.0 * max(a + b for a, b in zip(runs, [*runs[1:], runs[0]], strict=True))  # every cycle fuses
    seen_times, levels = line_seen(ticks[:-1], states.astype(np.float64), int(ticks[-1]), hz)
    bounds = [*seen_times.tolist(), int(ticks[-1])]
    for row in range(1, len(levels) - 1):
        assert levels[row] == pytest.approx(every[bounds[row] : bounds[row + 1]].mean(), abs=1e-4)
    if len(set(runs)) == 1 or sum(runs) <= hz * SUMMED_IN_A_BRIGHT_ROOM_S:
        assert len(levels) == 1
        assert levels[0] == pytest.approx(every[: sum(runs) * times].mean(), abs=1.0 / times)


def as_defined(every: np.ndarray[tuple[int], np.dtype[np.float64]], hz: float) -> str:
    """The class of a lamp by its definition, tick by tick, for levels that last either long or shorter than fusion."""
    changes = np.flatnonzero(np.diff(every)) + 1
    if not len(changes):
        return "steady"
    window = int(hz / FUSION_HZ)
    means = np.convolve(every, np.ones(window) / window, "valid")
    inside = means[window:-window] if len(means) > 2 * window else means
    if np.ptp(inside) < 0.2 and 0.05 < inside.mean() < 0.95:
        return "blended"
    stays = np.diff(changes) / hz
    return "readable" if not len(stays) or stays.min() >= READABLE_S else "flickering"


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from([(2, 2), (3, 5), (7, 7), (150, 150), (40, 90), (400, 300), (260, 700)]),
    st.integers(0, 500),
)
def test_classes_are_as_defined(spans: tuple[int, int], lead: int) -> None:
    rows = [lead + 1, *[*spans] * (3000 // sum(spans)), 50]
    ticks = np.cumsum([0, *rows])
    states = (np.arange(len(rows)) % 2).astype(np.float64)
    every = np.repeat(states, rows)[lead + 1 : -50]
    assert of_lamp(
        ticks[:-1][1:-1] - ticks[1], states[1:-1], int(ticks[-2] - ticks[1]), 1000
    ).kind == as_defined(every, 1000)


def test_lamps_that_take_turns_too_fast_make_a_display_that_flickers(make_golden: MakeGolden) -> None:
    # Four lamps, each changing once in 0.4 s: every lamp can be read, the picture of all stays 0.1 s.
    golden = make_golden([(100 * n, (0xF << n % 8 & 0xFF0) >> 4) for n in range(60)], 6000)
    found = impressions(golden, [0, 1, 2, 3])
    assert {one.kind for one in found.lines.values()} == {"readable"}
    assert (found.display.kind, found.display.shortest_s) == ("flickering", 0.1)
    assert impressions(golden, [0, 1, 2, 3], speed=0.4).display.kind == "readable"


def test_what_changes_nearly_at_once_changes_at_once(make_golden: MakeGolden) -> None:
    rows = [(500 * n + late, (n % 2) | (n - (late == 0)) % 2 << 1) for n in range(10) for late in (0, 5)]
    assert impressions(make_golden(rows, 5000), [0, 1]).display.kind == "readable"


def test_codes_that_make_it_readable(make_golden: MakeGolden) -> None:
    board = load_board("quay")
    # A picture a step at 300 Hz (code 4): the rate must come down to one step in READABLE_S.
    golden = make_golden([(n, n % 256) for n in range(2000)], 2000, hz=300)
    codes = readable_codes(board, 300.0, impressions(golden))
    listed = {code for span in codes for code in span}
    assert listed == {code for code in range(256) if board.step_hz(code) <= 1 / READABLE_S}
    best = fastest(board, codes)
    assert best is not None and board.step_hz(best) == max(map(board.step_hz, listed))
    assert impressions(golden, speed=float(board.step_hz(best) / 300)).display.kind == "readable"
    assert fastest(board, ()) is None
    assert readable_codes(board, 300.0, impressions(make_golden([(0, 1)], 900))) == ()
    mole = load_board("mole")
    found = fastest(mole, readable_codes(mole, float(mole.step_hz(83_332)), impressions(golden)))
    assert found is not None and mole.step_hz(found) == pytest.approx(1 / READABLE_S, rel=1e-4)


def test_a_pattern_of_digits_is_drawn_as_one_mean(make_golden: MakeGolden) -> None:
    # Ten pictures at 300 Hz come round 30 times a second: it flickers, and what the eye sees of it is one picture.
    golden = make_golden(
        [(10 * n, 0b1011 if n % 10 < 3 else 0b1001 * (n % 2)) for n in range(3000)], 30_000, hz=3000
    )
    assert len(seen(golden, fuses_hz=10).times) == 1
    assert impressions(golden).display.kind == "flickering"
