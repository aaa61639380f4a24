"""Set-ups made by a hand: restart held for longer than foretold, let go anywhere, and a design that only ran on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check
from numpy.typing import NDArray

from tests.harness.verdict.noise import BOARD, Noise, Setup, golden_of, states, written

HALF, RELEASED = 6, 4  # frames of half a step; rises until the golden's restart is let go
OUTPUTS = tuple(f"o{n}" for n in range(8))


def foretold(kind: str, seed: int = 3) -> tuple[Setup, int]:
    """A run whose restart is let go with its fourth rise, and the tick after that."""
    print("seed", seed)
    shown = states(kind, 500, np.random.default_rng(seed))
    shown[: RELEASED + 1] = shown[RELEASED]
    setup = Setup(shown, half=HALF, lead=5, restart=RELEASED, unsettled=0xFF)
    return setup, setup.first_rise + (RELEASED - 1) * setup.step_ticks + 1


def recorded(
    setup: Setup, lines: tuple[str, ...], before: NDArray[np.uint8], hold: int, let_go: float, at: int = -1
) -> str:
    """The pins show `before`, step by step, then restart is held for `hold` steps and let go so much of a step after a
    rise; with the step `at` of the run left out, if there is such."""
    run = setup.states[RELEASED:]
    run = np.delete(run, at) if at >= 0 else run
    shown = np.concatenate([before, np.full(hold, run[0], np.uint8), run])
    steps, first = np.arange(len(shown), dtype=float), len(before)
    waves = {}
    for name in lines:
        if name == "i7":
            instants = np.stack([steps, steps + 0.5], axis=1).ravel()
            waves[name] = np.r_[-1e9, instants], np.r_[0, np.tile([1, 0], len(steps))].astype(np.uint8)
        elif name == "i6":
            instants = np.array([-1e9, first - 0.3, first + hold + let_go])
            waves[name] = instants, np.array([0, 1, 0], np.uint8)
        else:
            level = shown >> int(name[1]) & 1
            changed = np.flatnonzero(np.diff(level)) + 1
            waves[name] = np.r_[-1e9, steps[changed] + 1 / (2 * HALF)], np.r_[level[:1], level[changed]]
    noise = Noise(start=0.2, length=len(shown) - 20, rate=0.01, lines=lines)
    return written(waves, setup.step_ticks / BOARD.oscillator_hz, noise, np.random.default_rng(1))


def judged(setup: Setup, start: int, text: str) -> Verdict:
    return check(golden_of(setup), parse_capture(text.encode(), "bench"), BOARD, start=start)


@pytest.mark.parametrize("lines", [(*OUTPUTS, "i6", "i7"), (*OUTPUTS, "i6"), (*OUTPUTS, "i7"), OUTPUTS])
@pytest.mark.parametrize(("hold", "let_go"), [(1, 0.05), (2, 0.6), (30, 0.95)])
def test_restart_held_by_a_hand_is_no_difference(lines: tuple[str, ...], hold: int, let_go: float) -> None:
    """Whatever the pins showed before, a design that cannot have run, and whichever lines were recorded."""
    setup, start = foretold("lfsr")
    before = np.random.default_rng(8).integers(0, 256, 12).astype(np.uint8)
    verdict = judged(setup, start, recorded(setup, lines, before, hold, let_go))
    assert (verdict.kind, verdict.reasons) == (AGREES, ())
    assert verdict.steps > 440


@pytest.mark.parametrize("lines", [(*OUTPUTS, "i6"), OUTPUTS])
def test_a_step_that_was_lost_is_no_set_up(lines: tuple[str, ...]) -> None:
    """The ring comes round: what lies behind the lost step fits by itself, with all before it in the set-up."""
    setup, start = foretold("ring")
    text = recorded(setup, lines, np.zeros(0, np.uint8), 1, 0.5, at=100)
    if "i6" not in lines:
        assert judged(setup, start, text).kind == DIFFERS
        return
    verdict = judged(setup, start, text)
    assert verdict.first is not None
    assert (verdict.kind, verdict.first.step) == (DIFFERS, 100 + RELEASED)


@pytest.mark.parametrize(("at", "told"), [(80, True), (84, False)])
def test_a_restart_that_was_not_recorded_explains_what_it_looks_like(at: int, told: bool) -> None:
    """Every 16th step shows what restart holds. Where that one is lost, nothing was held, and no restart explains it;
    where one between is lost, a restart does, unless its line was recorded."""
    setup, start = foretold("lfsr")
    setup.states[RELEASED + 1 :] = 0
    setup.states[RELEASED::16] = 0x0F
    setup.states[:RELEASED] = 0x0F
    setup = replace(setup, unsettled=0)
    for lines in ((*OUTPUTS, "i7"), (*OUTPUTS, "i6", "i7")):
        verdict = judged(setup, start, recorded(setup, lines, np.zeros(0, np.uint8), 1, 0.5, at=at))
        assert verdict.kind == (DIFFERS if told or "i6" in lines else INCONCLUSIVE)


def test_what_came_after_the_last_change_of_a_table_is_not_known() -> None:
    """Changes lie four steps apart, and the table ends before a flash between two of them."""
    setup, start = foretold("random", 9)
    shown = np.repeat(setup.states[::4], 4)[: len(setup.states)]
    shown[: RELEASED + 1] = shown[RELEASED]
    flash = RELEASED + 162
    shown[flash] ^= 0xFF
    setup = replace(setup, states=shown)
    step = setup.step_ticks / BOARD.oscillator_hz
    rows = [row for row in range(RELEASED + 2, flash) if shown[row] != shown[row - 1]]
    assert flash - rows[-1] < 4 and {row % 4 for row in rows} == {rows[0] % 4}
    table = [f"time_s,{','.join(OUTPUTS)}"]
    for row in rows:
        table.append(f"{0.1 + row * step:.9f}," + ",".join(str(shown[row] >> bit & 1) for bit in range(8)))
    assert judged(setup, start, "\n".join(table) + "\n").kind == AGREES
    few = judged(setup, start, "\n".join(table[:3]) + "\n")
    assert few.kind == INCONCLUSIVE and any("ends with its last change" in remedy for remedy in few.remedies)
    end = f"{0.1 + (rows[1] + 0.5) * step:.9f}," + table[2].partition(",")[2]
    ended = judged(setup, start, "\n".join([*table[:3], end]) + "\n")
    assert ended.kind == INCONCLUSIVE and not any("last change" in remedy for remedy in ended.remedies)


@pytest.mark.parametrize("lines", [OUTPUTS, (*OUTPUTS, "i7"), (*OUTPUTS, "i6", "i7")])
def test_a_digit_that_lights_up_and_rests_proves_nothing(lines: tuple[str, ...]) -> None:
    """That six bars are lit is the restart's doing, and that they stay so is little. Where the design should go on, it
    differs; and where one bar goes on, that is what proves it."""
    setup, start = foretold("counter")
    setup.states[:] = 0x3F
    digit = recorded(setup, lines, np.zeros(12, np.uint8), 3, 0.5)
    assert judged(setup, start, digit).kind == INCONCLUSIVE
    setup.states[RELEASED + 1 :] ^= (
        np.random.default_rng(8).integers(0, 2, len(setup.states) - RELEASED - 1).astype(np.uint8)
    )
    assert judged(setup, start, digit).kind == DIFFERS
    assert judged(setup, start, recorded(setup, lines, np.zeros(12, np.uint8), 3, 0.5)).kind == AGREES
