"""What is refused at a glance: lines that a prediction holds for good, and never a good recording."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.capture.readers import parse_capture
from forelight.harness.capture.record import Capture, RecordedLine
from forelight.harness.golden.golden import Golden
from forelight.harness.verdict.glance import refused
from forelight.harness.verdict.verdict import AGREES, DIFFERS, check
from forelight.sim.levels import UNKNOWN

from tests.harness.verdict.cases import draw
from tests.harness.verdict.noise import BOARD, Noise, Setup, golden_of, recorded, states


def test_no_good_recording_is_refused() -> None:
    """Seeds 0 to 59 of the noise model, spikes and all."""
    for seed in range(60):
        case = draw(seed, "none")
        capture = parse_capture(case.text.encode(), "bench")
        assert refused(golden_of(case.setup), capture, case.setup.first_rise) is None, seed


def test_a_line_that_rests_in_the_prediction_and_moves_in_the_recording() -> None:
    rng = np.random.default_rng(4)
    print("seed 4")
    lone = Setup(states("lone", 600, rng), half=2, lead=5, restart=0, unsettled=0)
    bench = states("lfsr", 600, rng)
    text = recorded(lone, bench, Noise(start=20.2, length=400), rng)
    capture = parse_capture(text.encode(), "bench")
    assert (
        refused(golden_of(lone), capture, lone.first_rise)
        == "Line o1 is predicted to stay 0 and was seen at 1."
    )
    assert check(golden_of(lone), capture, BOARD, quick=True).kind == DIFFERS


@pytest.mark.parametrize("steps", [1.0, 400.0])
def test_for_how_long_a_line_may_be_otherwise_and_move_less(steps: float) -> None:
    """A line that rests may be seen otherwise for a fifth of the later half; one that toggles must make half of the
    changes that are foretold, but for eight. Steps last a hundredth of a second, or four of them."""
    ticks = round(18_432_000 / 100 * steps)
    count = 400
    toggled = np.arange(count) & 1
    golden = Golden(
        "quay", 18_432_000, np.arange(count, dtype=np.int64) * ticks, np.arange(count), np.zeros(count, np.uint8),
        toggled.astype(np.uint8), np.full(count, 255, np.uint8), np.zeros(count, np.uint8), count * ticks,
    )  # fmt: skip
    second = steps / 100

    def reason(name: str, times: list[float], levels: list[int], end: float) -> str | None:
        line = RecordedLine(np.array(times) * second + 5.0, np.array(levels, np.uint8))
        return refused(golden, Capture({name: line}, 5.0, 5.0 + end * second), 0)

    # The later half of 100 steps is 50, and a fifth of that 10.
    assert reason("o1", [0, 60, 69.9], [0, 1, 0], 100) is None
    assert reason("o1", [0, 60, 70.2], [0, 1, 0], 100) == "Line o1 is predicted to stay 0 and was seen at 1."
    assert reason("o1", [0, 10, 50], [0, 1, 0], 100) is None  # the first half may be the set-up
    assert reason("o1", [0, 60, 90], [0, UNKNOWN, 0], 100) is None
    # In 100 steps by a clock that is slower by a quarter, 80, there are 80 changes or 79.
    for seen, fits in ((32, True), (31, False)):
        times = [0.0, *(100.5 + np.arange(seen) * 3.01)]
        why = reason("o0", times, [n & 1 for n in range(seen + 1)], 200)
        assert (why is None) == fits, (seen, why)
    assert why == "Line o0 is predicted to change 79 times at least, where it was seen to change 31 times."


def test_a_quick_verdict_agrees_where_the_whole_one_does() -> None:
    """Seeds 0 to 19."""
    for seed in range(20):
        case = draw(seed, "none")
        golden, capture = golden_of(case.setup), parse_capture(case.text.encode(), "bench")
        agree = {check(golden, capture, BOARD, quick=quick).kind == AGREES for quick in (False, True)}
        assert len(agree) == 1, seed


def test_a_line_that_rests_or_moves_too_soon_is_refused_spikes_apart() -> None:
    """A line that changes at each step was seen to rest; one that keeps still for 64 steps was seen to move at each."""
    steps = np.arange(900)
    setups = [
        Setup(made.astype(np.uint8), half=2, lead=5, restart=0, unsettled=0)
        for made in (steps & 1, steps >> 6 & 1)
    ]
    noise = Noise(start=20.2, length=600, lines=("o0", "i7"), spikes=0.1)
    print("seed 5")
    texts = [recorded(setup, setup.states, noise, np.random.default_rng(5)) for setup in setups]
    for setup, fast in zip(setups, (True, False), strict=True):
        own, other = (parse_capture(text.encode(), "bench") for text in (texts if fast else texts[::-1]))
        assert refused(golden_of(setup), own, setup.first_rise) is None
        why = refused(golden_of(setup), other, setup.first_rise)
        assert why is not None
        assert ("predicted to change" if fast else "predicted to keep still") in why
