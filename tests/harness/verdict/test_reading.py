"""What a recording is read by: clocks that the prediction has room for, and what an explanation must hold."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.capture.record import Capture, RecordedLine
from forelight.harness.golden.golden import Golden
from forelight.harness.verdict.clock import steady
from forelight.harness.verdict.fit import Fit
from forelight.harness.verdict.placement import Placement, Recording, timed
from forelight.harness.verdict.reading import Readout, read
from forelight.harness.verdict.rows import Moments, ReadRows
from forelight.harness.verdict.verdict import Laid

from tests.harness.verdict.noise import BOARD

STEP = 400  # ticks of a millionth of a second


def twice(count: int) -> Golden:
    """A line that rises a quarter into each step and falls three quarters into it."""
    ticks = np.arange(4 * count, dtype=np.int64) * (STEP // 4)
    place = np.arange(4 * count) % 4
    inputs = np.where(place < 2, 0x80, 0).astype(np.uint8)
    outputs = ((place == 1) | (place == 2)).astype(np.uint8)
    settled = np.full(4 * count, 255, np.uint8)
    nothing = np.zeros(4 * count, np.uint8)
    steps = np.arange(4 * count) // 4 + 1
    return Golden("quay", 1_000_000, ticks, steps, inputs, outputs, settled, nothing, count * STEP)


def burst(first: int, last: int) -> list[float]:
    return [step + place for step in range(first, last) for place in (0.25, 0.75)]


@pytest.mark.parametrize(("steps", "clocks"), [(80, True), (100, False)])
def test_other_clocks_than_the_likeliest_must_leave_it_room(steps: int, clocks: bool) -> None:
    """Of a prediction of 20 steps a recording may be longer by a fifth and 64 steps, 88 in all. It has two bursts,
    between which some steps more or less may have passed; each level is read at two places in a step."""
    times = np.array([0.0, *burst(1, 7), *burst(steps - 6, steps)])
    line = RecordedLine(times * STEP * 1e-6, (np.arange(len(times)) & 1).astype(np.uint8))
    found = read(twice(20), Capture({"o0": line}, 0.0, steps * STEP * 1e-6), BOARD)
    assert found.rows.slots == 2
    assert found.scale == pytest.approx(2500)
    assert found.edges == 24
    assert (len(found.recordings) > 1) == clocks
    assert found.recordings[0].clock is not None
    assert found.recordings[0].clock.rate == pytest.approx(2500, rel=1e-3)


def laid(bits: float, *, saved: float = 50.0, wrong: int = 0, compared: int = 400) -> Laid:
    """A recording of 100 rows of four lines, of which so much is compared at one place."""
    rng = np.random.default_rng(1)
    names = tuple(f"o{bit}" for bit in range(4))
    rows = ReadRows(rng.integers(0, 16, 100).astype(np.uint8), np.full(100, 15, np.uint8), 1)
    at = Moments(names, ((0.5,),) * 4, ((0.5,),) * 4)
    recording: Recording = timed(at, rows, steady(1.0))
    there = Placement(
        0, bits, np.full(4, saved / 4), np.array([wrong, 0, 0, 0]), np.array([compared - 3, 1, 1, 1])
    )
    golden = twice(20)
    line = RecordedLine(np.array([0.0, 1e-4]), np.array([0, 1], np.uint8))
    reading: Readout = read(golden, Capture({"o0": line}, 0.0, 1e-2), BOARD)
    return Laid(reading, bits, recording, Fit(bits, 3.0, (there,)))


def test_what_is_contradicted_is_wrong_wherever_half_of_it_is_compared() -> None:
    assert not laid(0.0, saved=-9.9, compared=201).contradicted
    assert laid(0.0, saved=-9.9, compared=200).contradicted
    assert laid(0.0, saved=-10.1, compared=201).contradicted
    assert laid(0.0, saved=50.0, wrong=1, compared=400).contradicted


def test_what_is_far_off_differs_much_or_saves_little() -> None:
    """Two of a hundred levels, and half of what the recording holds."""
    much = laid(0.0).recording.null_bits / 2
    assert not laid(0.0, saved=much + 1, wrong=8).far_off
    assert laid(0.0, saved=much + 1, wrong=9).far_off
    assert laid(0.0, saved=much - 1, wrong=0).far_off
    assert not laid(10.0, saved=0.0, wrong=99).far_off
    assert laid(9.9, saved=0.0, wrong=99).far_off


def test_what_explains_a_recording() -> None:
    """Two fifths of what it holds."""
    holds = laid(0.0).recording.null_bits
    assert laid(0.41 * holds).explains() and not laid(0.39 * holds).explains()
    assert laid(-5.0).best_bits == 0.0 and laid(5.0).best_bits == 5.0
