"""What is refused at a glance: lines that a prediction holds for good, and never a good recording."""

from __future__ import annotations

import numpy as np
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.glance import refused
from forelight.harness.verdict.verdict import AGREES, DIFFERS, check

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
