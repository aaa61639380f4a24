"""Verdicts: good captures, captures with one real error, other clocks, records without times."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check

from tests.harness.verdict.cases import draw, first_steps
from tests.harness.verdict.noise import BOARD, FAULTS, Case, Noise, Setup, golden_of, recorded, states
from tests.sizes import sized


def judge(case: Case) -> Verdict:
    return check(golden_of(case.setup), parse_capture(case.text.encode(), "bench"), BOARD)


def made(kind: str, seed: int, steps: int = 900, half: int = 2) -> tuple[Setup, np.random.Generator]:
    print("seed", seed)
    rng = np.random.default_rng(seed)
    return Setup(states(kind, steps, rng), half=half, lead=5, restart=0, unsettled=0), rng


def confusion(fault: str, seeds: range) -> tuple[Counter[str], int]:
    """How many of each verdict, and how many differences name the first step."""
    kinds: Counter[str] = Counter()
    named = 0
    for seed in seeds:
        case = draw(seed, fault)
        verdict = judge(case)
        kinds[verdict.kind] += 1
        if verdict.kind == DIFFERS and verdict.first and fault not in ("none", "rate"):
            named += verdict.first.step in first_steps(case)
        json.dumps(verdict.to_json())
    print(f"{fault:6} {dict(kinds)}, first step named in {named}, seeds {seeds.start} to {seeds.stop - 1}")
    return kinds, named


def test_good_captures_agree() -> None:
    kinds, _ = confusion("none", range(20))
    assert kinds[DIFFERS] == 0
    assert kinds[INCONCLUSIVE] <= 1


@pytest.mark.parametrize("fault", FAULTS)
def test_one_real_error_differs(fault: str) -> None:
    kinds, named = confusion(fault, range(sized(4, 8)))
    assert kinds[AGREES] == 0
    assert kinds[DIFFERS] >= sized(3, 7)
    assert fault == "rate" or named >= kinds[DIFFERS] - 1


def test_a_flipped_bit_is_all_that_differs() -> None:
    for seed in range(4):
        verdict = judge(draw(seed, "flip", extreme=0.0))
        assert verdict.kind == DIFFERS
        assert verdict.first is not None
        assert verdict.more == 0


def test_the_evidence_of_a_difference() -> None:
    """A bit that is 1 at step 200 only: step, line, levels and both times follow from the numbers of the set-up."""
    setup, rng = made("counter", 3)
    bench = setup.states.copy()
    bench[200] ^= np.uint8(1 << 6)
    noise = Noise(start=90.25, length=300, rate=0.01, lines=("o0", "o5", "o6", "o7", "i7"))
    capture = parse_capture(recorded(setup, bench, noise, rng).encode(), "bench")
    verdict = check(golden_of(setup), capture, BOARD)
    first = verdict.first
    assert verdict.kind == DIFFERS
    assert first is not None
    level = int(setup.states[200]) >> 6 & 1
    assert (first.step, first.line, first.expected, first.seen, verdict.more) == (
        200,
        "o6",
        level,
        1 - level,
        0,
    )
    # The 200th rise is the first (at frame 5) and 199 steps of 4 frames; the answer shows a frame later, for a step.
    assert first.golden_s == pytest.approx((5 + 199 * 4 + 1 + 2) / 3000)
    assert first.capture_s is not None
    assert first.capture_s - capture.start == pytest.approx((199 + 0.75 - 90.25) * 4 / 3000 * 1.01, rel=1e-4)
    assert verdict.rate_hz == pytest.approx(750 / 1.01, rel=1e-5)
    assert verdict.expected_hz == 750
    assert verdict.reasons == (f"At step 200 line o6 is {1 - level} where {level} was predicted.",)


def test_the_first_of_several_bits_is_named() -> None:
    """Three bits on three lines, of which two are in one step: the first step, and in it the lowest line."""
    setup, rng = made("lfsr", 4)
    bench = setup.states.copy()
    for step, bit in ((210, 6), (210, 3), (260, 1)):
        bench[step] ^= np.uint8(1 << bit)
    noise = Noise(start=90.25, length=300, lines=tuple(f"o{n}" for n in range(8)))
    verdict = check(
        golden_of(setup), parse_capture(recorded(setup, bench, noise, rng).encode(), "bench"), BOARD
    )
    assert verdict.first is not None
    assert (verdict.kind, verdict.first.step, verdict.first.line, verdict.more) == (DIFFERS, 210, "o3", 2)
    assert verdict.reasons == (
        f"At step 210 line o3 is {verdict.first.seen} where {verdict.first.expected} was predicted.",
    )
    assert (verdict.steps, verdict.bits) == (299, 8 * 299) or verdict.bits == 8 * verdict.steps


def test_where_in_the_run_a_recording_begins() -> None:
    setup, rng = made("lfsr", 5)
    noise = Noise(start=90.25, length=300, rate=0.01, lines=("o0", "o1", "o2", "i7"))
    verdict = check(
        golden_of(setup), parse_capture(recorded(setup, setup.states, noise, rng).encode(), "bench"), BOARD
    )
    assert verdict.golden_start_s == pytest.approx((5 + 1 / 2 + 90.25 * 4) / 3000, abs=0.3 / 750)
    assert verdict.codes == tuple(
        code for code in range(256) if abs(float(BOARD.step_hz(code)) / (750 / 1.01) - 1) < 0.021
    )


@pytest.mark.parametrize("with_step_line", [True, False])
@pytest.mark.parametrize("factor", [0.02, 0.5, 0.93, 1.07, 3.0])
def test_another_rate_differs_and_is_found(factor: float, with_step_line: bool) -> None:
    setup, rng = made("slow", 8)
    lines = (*(f"o{n}" for n in range(8)), *(["i7"] if with_step_line else []))
    noise = Noise(start=100.1, length=400, rate=1 / factor - 1, jitter=0.1, lines=lines)
    text = recorded(setup, setup.states, noise, rng)
    verdict = check(golden_of(setup), parse_capture(text.encode(), "bench"), BOARD)
    assert verdict.kind == DIFFERS
    assert verdict.rate_hz == pytest.approx(750 * factor, rel=0.002)
    assert verdict.first is None
    fitting = {code for code in range(256) if abs(float(BOARD.step_hz(code)) / (750 * factor) - 1) < 0.019}
    assert fitting <= set(verdict.codes)


def test_the_rate_is_as_sure_as_it_says() -> None:
    """The stated standard deviation covers the error: over 25 recordings, the mean square of error over deviation is
    near 1."""
    ratios = []
    for seed in range(25):
        setup, rng = made("slow", 500 + seed)
        noise = Noise(start=100.1, length=300, rate=rng.uniform(-0.015, 0.015), jitter=0.2)
        noise = replace(noise, lines=tuple(f"o{n}" for n in range(8)))
        text = recorded(setup, setup.states, noise, rng)
        verdict = check(golden_of(setup), parse_capture(text.encode(), "bench"), BOARD)
        assert verdict.rate_hz is not None
        assert verdict.rate_sigma_hz is not None
        ratios.append((verdict.rate_hz - 750 / (1 + noise.rate)) / verdict.rate_sigma_hz)
    assert 0.5 < float(np.mean(np.square(ratios))) < 2.0


def test_a_long_recording_whose_clock_drifts() -> None:
    """20 000 steps over which 200 ppm bend the time base by half a step, and one wrong bit near the end."""
    for lines in (("o0", "o1", "o2"), ("o0", "o1", "o2", "i7")):
        setup, rng = made("gated", 21, steps=22_000)
        bench = setup.states.copy()
        noise = Noise(start=500.4, length=20_000, rate=-0.013, drift=200e-6, jitter=0.25, lines=lines)
        golden = golden_of(setup)
        verdict = check(golden, parse_capture(recorded(setup, bench, noise, rng).encode(), "bench"), BOARD)
        assert verdict.kind == AGREES
        assert verdict.steps == pytest.approx(20_000, abs=2)
        bench[19_321] ^= np.uint8(2)
        verdict = check(golden, parse_capture(recorded(setup, bench, noise, rng).encode(), "bench"), BOARD)
        assert verdict.first is not None
        assert (verdict.kind, verdict.first.step, verdict.first.line) == (DIFFERS, 19_321, "o1")


def noted(setup: Setup, steps: list[int], zero: int, wrong: int | None = None) -> Verdict:
    """The verdict on what an eye noted at some steps, counted from `zero`."""
    rows = [f"{n - zero},{int(setup.states[n]) ^ (4 if n == wrong else 0):08b}" for n in steps]
    text = "\n".join(["step,outputs", *rows]) + "\n"
    return check(golden_of(setup), parse_capture(text.encode(), "notes"), BOARD)


def test_what_an_eye_wrote_down() -> None:
    setup, _ = made("lfsr", 31)
    steps = list(range(300, 340))
    verdict = noted(setup, steps, 300)
    assert (verdict.kind, verdict.steps, verdict.rate_hz) == (AGREES, 40, None)
    with_gaps = [n for n in steps if n % 7]
    assert noted(setup, with_gaps, 300).kind == AGREES
    assert noted(setup, with_gaps, 300).steps == len(with_gaps)
    verdict = noted(setup, steps, 300, wrong=317)
    assert verdict.first is not None
    assert (verdict.kind, verdict.first.step, verdict.first.line, verdict.first.capture_s) == (
        DIFFERS,
        317,
        "o2",
        None,
    )
    assert noted(setup, steps[:2], 300).kind == INCONCLUSIVE


def test_sample_numbers_at_an_unknown_rate() -> None:
    setup, rng = made("lfsr", 32)
    noise = Noise(start=50.2, length=250, samples=12, layout="csv")
    for lines in (("o0", "o1", "o2"), ("o0", "o1", "o2", "i7")):
        text = recorded(setup, setup.states, replace(noise, lines=lines), rng)
        rows = text.splitlines()
        numbered = [f"{n},{row.split(',', 1)[1]}" for n, row in enumerate(rows[1:])]
        text = "\n".join([rows[0].replace("time_s", "sample"), *numbered]) + "\n"
        verdict = check(golden_of(setup), parse_capture(text.encode(), "bench"), BOARD)
        assert (verdict.kind, verdict.rate_hz) == (AGREES, None)


def test_gaps_are_not_compared() -> None:
    setup, rng = made("lfsr", 33)
    noise = Noise(start=50.2, length=250, samples=20, layout="csv", lines=("o0", "o1", "o2", "i7"))
    rows = recorded(setup, setup.states, noise, rng).splitlines()
    whole = check(golden_of(setup), parse_capture("\n".join([*rows, ""]).encode(), "bench"), BOARD)
    for n in range(1000, 1400):  # twenty steps of o1
        cells = rows[n].split(",")
        rows[n] = ",".join([*cells[:2], "X", *cells[3:]])
    verdict = check(golden_of(setup), parse_capture("\n".join([*rows, ""]).encode(), "bench"), BOARD)
    assert verdict.kind == AGREES
    assert whole.bits - verdict.bits == pytest.approx(20, abs=1)
