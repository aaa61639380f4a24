"""A match by chance is not a match: unrelated recordings, and what little can prove."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check

from tests.harness.verdict.noise import BOARD, Noise, Setup, golden_of, recorded, states, written


def laid(golden_kind: str, bench_kind: str, seed: int, noise: Noise, steps: int = 900) -> Verdict:
    """The verdict on a recording of one design against the golden of another (or the same)."""
    rng = np.random.default_rng(seed)
    setup = Setup(states(golden_kind, steps, rng), half=2, lead=5, restart=0, unsettled=0)
    bench = setup.states if bench_kind == golden_kind else states(bench_kind, steps, rng)
    text = recorded(replace(setup, states=bench), bench, noise, rng)
    return check(golden_of(setup), parse_capture(text.encode(), "bench"), BOARD)


@pytest.mark.parametrize("with_step_line", [False, True])
def test_another_design_never_agrees(with_step_line: bool) -> None:
    """Goldens of each kind against recordings of another: 15 pairs."""
    kinds = ("counter", "lfsr", "slow", "lone", "ring", "serial")
    lines = ("o0", "o1", "o2", "o3", "i7") if with_step_line else ("o0", "o1", "o2", "o3")
    for number, (one, other) in enumerate((a, b) for a in kinds for b in kinds if a < b):
        print("seed", number, one, other)
        noise = Noise(lines=lines, start=100.3, length=260, jitter=0.1)
        assert laid(one, other, number, noise).kind != AGREES


def test_too_few_changes_prove_nothing() -> None:
    """Of a recording with one, two or three changes the golden holds the like somewhere."""
    rng = np.random.default_rng(4)
    print("seed 4")
    setup = Setup(states("lone", 900, rng), half=2, lead=5, restart=0, unsettled=0)
    changes = np.flatnonzero(np.diff(setup.states)) + 1
    for count in (1, 2, 3):
        first, last = changes[40], changes[40 + count - 1]
        noise = Noise(lines=("o0",), start=first - 2.0, length=float(last - first + 3))
        text = recorded(setup, setup.states, noise, rng)
        verdict = check(golden_of(setup), parse_capture(text.encode(), "bench"), BOARD)
        assert verdict.kind == INCONCLUSIVE
        assert verdict.remedies


def test_the_evidence_grows_with_the_number_of_changes() -> None:
    evidence = []
    for length in (40, 80, 160, 320):
        verdict = laid("lone", "lone", 9, Noise(lines=("o0", "i7"), start=60.2, length=length))
        evidence.append(verdict.evidence)
    assert evidence == sorted(evidence)
    assert evidence[-1] > 40


def test_a_design_that_never_changes_is_inconclusive_and_says_what_to_record() -> None:
    still = Setup(np.full(600, 0x2A, np.uint8), half=2, lead=5, restart=0, unsettled=0)
    golden = golden_of(still)
    rng = np.random.default_rng(6)
    for lines in (("o1", "o2"), ("o1", "o2", "i7")):
        text = recorded(still, still.states, Noise(lines=lines, start=20.0, length=300), rng)
        verdict = check(golden, parse_capture(text.encode(), "bench"), BOARD)
        assert verdict.kind == INCONCLUSIVE
        assert verdict.remedies == ("Record more lines, or a run in which the outputs change.",)


def test_a_line_that_never_changes_and_has_the_wrong_level_differs() -> None:
    still = Setup(np.full(600, 0x2A, np.uint8), half=2, lead=5, restart=0, unsettled=0)
    rng = np.random.default_rng(6)
    text = recorded(still, still.states ^ np.uint8(2), Noise(lines=("o1", "o2"), start=20.0, length=300), rng)
    verdict = check(golden_of(still), parse_capture(text.encode(), "bench"), BOARD)
    assert verdict.kind == DIFFERS
    assert verdict.reasons == ("Line o1 is predicted to stay 1 and was seen at 0.",)


def test_a_recording_that_stands_still_says_for_how_long_it_may() -> None:
    """Lamps that rest for 20 steps of 100: shorter stillness tells nothing, longer differs, of one or of two that
    never rest together."""
    shown = np.zeros(900, np.uint8)
    for late, bits in ((0, 1), (50, 2)):
        for at in range(late, 900, 100):
            shown[at : at + 80 : 2] |= np.uint8(bits)
    setup = Setup(shown, half=2, lead=5, restart=0, unsettled=0)
    hz = BOARD.oscillator_hz / setup.step_ticks

    def said(steps: float, *lines: str) -> Verdict:
        rows = "".join(f"{at},{','.join('0' * len(lines))}\n" for at in (0, steps / hz))
        capture = parse_capture(f"time_s,{','.join(lines)}\n{rows}".encode(), "bench")
        return check(golden_of(setup), capture, BOARD)

    assert said(15, "o0").kind == INCONCLUSIVE
    assert f"for {21 / hz:.3g} s" in said(15, "o0").reasons[0]
    assert said(40, "o0").kind == said(40, "o0", "o1").kind == DIFFERS
    assert "line o0 never keeps" in said(40, "o0", "o1").reasons[0]
    assert "together" in said(15, "o0", "o1").reasons[0]
    # Beside a line that may rest for ever nothing more is told.
    assert said(15, "o0", "o5").kind == INCONCLUSIVE
    assert said(400, "o5").reasons == (
        "Nothing moves in the recording, and nothing need move in the prediction.",
    )


def test_a_recording_that_stops_differs_if_the_prediction_goes_on() -> None:
    """Two changes, and then nothing for 60 steps of a line that rests for 20; a prediction that ends sooner tells
    nothing."""
    shown = np.zeros(900, np.uint8)
    for at in range(0, 900, 100):
        shown[at : at + 80 : 2] = 1
    whole = Setup(shown, half=2, lead=5, restart=0, unsettled=0)
    hz = BOARD.oscillator_hz / whole.step_ticks
    rows = "".join(f"{at / hz:.6f},{level}\n" for at, level in ((0, 0), (3, 1), (4, 0), (64, 0)))
    capture = parse_capture(f"time_s,o0\n{rows}".encode(), "bench")
    kinds = []
    late = whole.first_rise + 9 * whole.step_ticks  # so that 60 steps are left of 70
    for setup, start in (
        (whole, 0),
        (replace(whole, states=shown[:50]), 0),
        (replace(whole, states=shown[:70]), 0),
        (replace(whole, states=shown[:70]), late),
    ):
        verdict = check(golden_of(setup), capture, BOARD, start=start)
        kinds.append(verdict.kind)
        print(verdict.reasons)
    assert kinds == [DIFFERS, INCONCLUSIVE, DIFFERS, INCONCLUSIVE]


def test_a_list_in_which_nothing_moves_proves_nothing() -> None:
    """A sign that is shown for 20 steps in a row at most, one that never is, and one that is shown for ever."""
    shown = np.arange(300, dtype=np.uint8) | np.uint8(0x80)
    shown[100:120] = 0x2A
    lamp = Setup(shown, half=2, lead=5, restart=0, unsettled=0)
    still = replace(lamp, states=np.full(300, 0x2A, np.uint8))

    def said(setup: Setup, sign: int, *counts: int, unread: int = 0) -> list[Verdict]:
        found = []
        for count in counts:
            rows = [f"{sign:08b}"] * (count - unread) + ["?" * 8] * unread
            capture = parse_capture("\n".join(["outputs", *rows[::-1], f"{sign:08b}", ""]).encode(), "list")
            found.append(check(golden_of(setup), capture, BOARD))
        return found

    assert [verdict.kind for verdict in said(lamp, 0x2A, 4, 19, 20)] == [INCONCLUSIVE, INCONCLUSIVE, DIFFERS]
    assert "for 20 steps in a row" in said(lamp, 0x2A, 19)[0].reasons[0]
    assert said(lamp, 0x2A, 20)[0].reasons == (
        "All 21 entries show the same; as foretold, that stays for 20 steps in a row at most.",
    )
    assert [verdict.kind for verdict in said(lamp, 0x2B, 4, 5)] == [INCONCLUSIVE, DIFFERS]
    assert "is never shown" in said(lamp, 0x2B, 5)[0].reasons[0]
    for verdict in (*said(still, 0x2A, 6, 40, 290), *said(lamp, 0x2A, 19, unread=3)):
        assert (verdict.kind, verdict.evidence) == (INCONCLUSIVE, 0.0)
    # What was not read may have been anything: the list goes on over what stands before the sign.
    assert said(lamp, 0x2A, 12, unread=3)[0].kind == INCONCLUSIVE


def test_what_a_hand_did_proves_nothing_of_the_design() -> None:
    """An input that is moved all the while, as foretold, and outputs that rest or move with it; with times and by
    eye."""
    print("seed 12")
    rng = np.random.default_rng(12)
    inputs = np.repeat(rng.integers(0, 2, 60), 5).astype(np.uint8)
    for moving in (False, True):
        shown = np.where(moving, inputs * np.uint8(7), 7).astype(np.uint8)
        setup = Setup(shown, half=2, lead=5, restart=0, unsettled=0)
        golden = golden_of(setup)
        steps = np.minimum(golden.steps, len(inputs) - 1)
        golden = replace(golden, inputs=golden.inputs | inputs[steps])
        wanted = AGREES if moving else INCONCLUSIVE
        waves = {}
        for name, column in (("i0", inputs), *((f"o{bit}", shown >> bit & 1) for bit in range(3))):
            changed = np.flatnonzero(np.diff(column)) + 1
            late = 0.25 if name[0] == "o" else 0.0
            waves[name] = (
                np.r_[-1e9, changed + late - 1.0],
                np.r_[column[:1], column[changed]].astype(np.uint8),
            )
        for lines in (waves, {name: waves[name] for name in ("o2", "i0", "o1")}):
            text = written(
                lines, setup.step_ticks / BOARD.oscillator_hz, Noise(start=20.3, length=250.0), rng
            )
            timed = check(golden, parse_capture(text.encode(), "bench"), BOARD)
            assert timed.kind == wanted
        rows = [f"{n},{inputs[n]},{shown[n] & 1}" for n in range(20, 80)]
        listed = check(golden, parse_capture("\n".join(["step,i0,o0", *rows, ""]).encode(), "list"), BOARD)
        assert listed.kind == wanted
        for verdict in (timed, listed):
            assert verdict.evidence >= 10 if moving else "a hand moved" in verdict.reasons[0]
