"""The measure itself: a proper code on both sides, summed over places, the same for every prediction."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.capture.readers import parse_capture
from forelight.harness.capture.record import Levels, RecordedLine
from forelight.harness.verdict.clock import steady
from forelight.harness.verdict.fit import Span, fit
from forelight.harness.verdict.placement import WRONG, Recording, timed
from forelight.harness.verdict.reading import read
from forelight.harness.verdict.reference import Foretold
from forelight.harness.verdict.rows import Moments, ReadRows, moments

from tests.harness.verdict.noise import BOARD, KINDS, Noise, Setup, golden_of, recorded, states

NAMES = tuple(f"o{bit}" for bit in range(8))
MOMENTS = Moments(NAMES, ((0.5,),) * 8, ((0.5,),) * 8)


def rows(levels: Levels) -> ReadRows:
    return ReadRows(levels.astype(np.uint16), np.full(len(levels), 0xFF, np.uint16), 1)


def side(levels: Levels) -> Recording:
    return timed(MOMENTS, rows(levels), steady(1.0))


def test_the_sum_over_places_takes_back_what_the_search_costs() -> None:
    """A run that repeats itself fits in many places, and its prior is as large: both cancel."""
    counter: Levels = (np.arange(4096) % 16).astype(np.uint8)
    once = fit(side(counter[100:300]), rows(counter[100:310]), before=False)
    often = fit(side(counter[100:300]), rows(counter), before=False)
    assert often.bits == pytest.approx(once.bits, abs=1.0)
    assert often.alike * len(often.places) == pytest.approx(4096 / 16, rel=0.1)


def test_a_place_that_is_stated_is_as_likely_as_all_others_together() -> None:
    """A run of period 16 fits wherever it is in step; of such places the stated one is taken, and no other one is."""
    counter: Levels = (np.arange(1000) % 16).astype(np.uint8)
    anywhere = fit(side(counter[100:300]), rows(counter), before=False)
    for stated in (4, 116, 500):
        found = fit(side(counter[100:300]), rows(counter), before=False, stated=stated)
        alike = stated % 16 == 100 % 16
        assert (found.best.offset == stated) is alike
        if alike:
            assert found.bits == pytest.approx(found.best.bits - 1, abs=0.2)
            assert found.bits > anywhere.bits + 3  # one place of some 50 was found by itself before
        else:
            assert found.bits == pytest.approx(anywhere.bits - 1, abs=0.1)
    assert fit(side(counter[100:300]), rows(counter), before=False, stated=2000).bits == anywhere.bits


def test_what_is_saved_so_far_is_the_sum_over_the_rows_before() -> None:
    seed = 4
    print("seed", seed)
    rng = np.random.default_rng(seed)
    shown, open_ = rng.integers(0, 256, (2, 60)).astype(np.uint16)
    prediction = ReadRows(shown, 0xFF ^ (open_ & np.uint16(0x11)), 1)
    bench = shown[20:45].astype(np.uint8)
    bench[7] ^= 2
    recording = side(bench)
    span = Span.of(recording, prediction)
    assert span is not None
    found, (first, stop) = span.running(recording), recording.bounds
    assert found.shape == (span.count, stop - first + 1)
    worth = recording.cost.sum(axis=0) / 8
    for number, offset in enumerate(span.offsets(np.arange(span.count)).tolist()):
        total = 0.0
        for column, row in enumerate(range(first, stop)):
            assert found[number, column] == pytest.approx(total, rel=1e-4, abs=1e-3)
            if 0 <= row + offset < 60:
                known = int(prediction.known[row + offset])
                wrong = (int(shown[row + offset]) ^ int(bench[row])) & known
                total += known.bit_count() * worth[row] - WRONG * wrong.bit_count()
        assert found[number, -1] == pytest.approx(total, rel=1e-4, abs=1e-3)


def test_a_line_is_read_in_the_middle_of_the_gaps_between_its_changes() -> None:
    """It changes a fifth and three fifths into each step: it keeps still for two fifths and for three."""
    times = np.concatenate([[0.0], np.sort(np.concatenate([np.arange(40) + 0.2, np.arange(40) + 0.6]))])
    line = RecordedLine(times, (np.arange(len(times)) % 2).astype(np.uint8))
    still = RecordedLine(np.zeros(1), np.zeros(1, np.uint8))
    rises = np.arange(1.0, 41.0)
    told = Foretold({"o0": line, "o1": still}, rises, 0, 1000.0, 50.0, 50_000, 41.0)
    found = moments(told, ("o0", "o1"))
    for places, halves in zip(
        found.places, found.halves, strict=True
    ):  # o1 never changes: it is read with o0
        assert places == pytest.approx((0.4, 0.9))
        assert halves == pytest.approx((0.2, 0.3))


def test_a_steady_clock_counts_from_its_phase_at_its_rate() -> None:
    clock, times = steady(3.0, 0.25), np.array([-1.0, 0.0, 0.5, 2.0, 7.0])
    assert clock.steps(times) == pytest.approx(0.25 + 3 * times)
    assert clock.times(clock.steps(times)) == pytest.approx(times)


def test_unrelated_predictions_seldom_gain_anything() -> None:
    """Ville 1939: k bits gained by chance at most once in 2 to the power of k."""
    rng = np.random.default_rng(11)
    print("seed 11")
    gains = []
    for _ in range(120):
        one, other = rng.integers(0, 256, 200).astype(np.uint8), rng.integers(0, 256, 8).astype(np.uint8)
        gains.append(fit(side(other & np.uint8(3)), rows(one & np.uint8(3)), before=False).bits)
    assert sum(gain >= 3 for gain in gains) <= 120 / 8


@pytest.mark.parametrize("kind", KINDS)
def test_a_cause_is_one_more_prediction_of_the_same_recording(kind: str) -> None:
    """Of the true golden and those with two lines swapped or one inverted, the one that was recorded saves most."""
    rng = np.random.default_rng(21)
    print("seed 21")
    shown = states(kind, 700, rng)
    swapped = ((shown & 0xFC) | (shown & 1) << 1 | (shown >> 1 & 1)).astype(np.uint8)
    every = [
        Setup(some, half=2, lead=5, restart=0, unsettled=0) for some in (shown, swapped, shown ^ np.uint8(1))
    ]
    for number, setup in enumerate(every):
        noise = Noise(start=60.3, length=300, jitter=0.1, rate=0.01, lines=NAMES)
        capture = parse_capture(recorded(setup, setup.states, noise, rng).encode(), "bench")
        reading = read(golden_of(every[0]), capture, BOARD)
        bits = [reading.bits(reading.foretold(golden_of(cause))) for cause in every]
        assert bits[number] == max(bits)
        assert bits[0] == pytest.approx(reading.bits(reading.rows))
        if not np.array_equal(shown, swapped):
            assert bits[number] > sorted(bits)[-2] + 10
