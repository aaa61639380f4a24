"""A golden on a time axis that counts steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.capture.record import RecordedLine
from forelight.harness.golden.golden import Golden
from forelight.harness.verdict.reference import reference
from forelight.sim.levels import UNKNOWN

from tests.harness.verdict.noise import FRAME, Setup, golden_of


def setup() -> Setup:
    return Setup(np.arange(40, dtype=np.uint8), half=2, lead=6, restart=3, unsettled=0xF0)


def test_rises_steps_and_levels() -> None:
    golden = golden_of(setup())
    ours = reference(golden, "i7")
    assert ours.unit == 4 * FRAME
    assert ours.hz == 18_432_000 / (4 * FRAME) == 750
    assert ours.rises.tolist() == [1.5 + n for n in range(39)]
    assert ours.step_at(np.array([0.0, 1.49, 1.5, 2.49, 2.5])).tolist() == [0, 0, 1, 1, 2]
    # o0 follows the count, a frame (a quarter of a step) after the rise; o4 is unsettled until the third step shows.
    assert ours.lines["o0"].times[:4].tolist() == [0, 1.75, 2.75, 3.75]
    assert ours.lines["o0"].levels[:4].tolist() == [0, 1, 0, 1]
    assert ours.lines["o4"].times[:2].tolist() == [0, 3.75]
    assert ours.lines["o4"].levels[:2].tolist() == [UNKNOWN, 0]
    assert ours.seconds(1.5) == pytest.approx(6 * FRAME / 18_432_000)


def test_a_step_line_of_its_own_is_rebuilt_from_the_count_of_steps() -> None:
    golden = golden_of(setup())
    still = replace(golden, inputs=golden.inputs & np.uint8(0x7F))
    ours = reference(still, "step")
    assert ours.rises == pytest.approx([1.5 + n for n in range(39)], abs=0.01)
    assert ours.lines["step"].levels[:3].tolist() == [0, 1, 0]


def test_a_golden_without_steps_has_a_unit_all_the_same() -> None:
    plain = Golden(
        "quay", 1_000_000, np.array([0, 400, 900]), np.zeros(3, np.int64), np.array([0, 1, 2], np.uint8),
        np.array([0, 1, 1], np.uint8), np.full(3, 255, np.uint8), np.zeros(3, np.uint8), 2000,
    )  # fmt: skip
    ours = reference(plain, "i7")
    assert ours.hz is None
    assert ours.unit == 450
    assert ours.end == pytest.approx(2000 / 450)


def test_time_counts_in_steps_of_another_length() -> None:
    """Of twice the length: all times are half as many."""
    ours = reference(golden_of(setup()), "i7", start=setup().first_rise + 3 * setup().step_ticks)
    assert ours.since > 0 and ours.freed > ours.since and ours.onward > ours.freed
    found = ours.in_units(2 * ours.unit)
    assert ours.in_units(ours.unit) is ours
    assert (found.unit, found.hz, found.steps) == (2 * ours.unit, ours.hz, ours.steps)
    times = (found.end, found.since, found.freed, found.onward)
    assert times == pytest.approx((ours.end / 2, ours.since / 2, ours.freed / 2, ours.onward / 2))
    assert found.rises == pytest.approx(ours.rises / 2)
    assert found.lines["o0"].times == pytest.approx(ours.lines["o0"].times / 2)
    assert found.seconds(found.end) == pytest.approx(ours.seconds(ours.end))


def test_a_golden_that_repeats_itself_is_prolonged() -> None:
    """A counter of sixteen states: the rows of one period stand for as long as is asked for."""
    states = (np.arange(60) & 15).astype(np.uint8)
    made = Setup(states, half=2, lead=6, restart=0, unsettled=0)
    short = golden_of(replace(made, states=states[:40]))
    period, begin = 16 * made.step_ticks, made.first_rise + made.step_ticks
    facts = {"period_ticks": period, "period_from_tick": begin}
    ours = reference(replace(short, facts=facts), "i7", 58 * made.step_ticks)
    truth = reference(golden_of(made), "i7")
    until = 55.0
    for name in ("o0", "o1", "o2", "o3", "o7", "i7"):
        a, b = ours.lines[name], truth.lines[name]
        assert a.times[a.times < until] == pytest.approx(b.times[b.times < until])
        assert a.levels[a.times < until].tolist() == b.levels[b.times < until].tolist()
    times = np.linspace(0, until, 500)
    assert ours.step_at(times).tolist() == truth.step_at(times).tolist()


def test_spikes_are_left_out_of_all_lines_but_the_one_that_steps() -> None:
    """A level for a tenth of a step, on the step line, on an input before it and on an output behind it by name."""
    ours = reference(golden_of(setup()), "i7")
    spiky = RecordedLine(np.array([0.0, 3.0, 3.1]), np.array([0, 1, 0], np.uint8))
    found = replace(ours, lines=dict.fromkeys(("i0", "i7", "o0"), spiky)).without_short(0.2, "i7")
    assert {name: len(line.times) for name, line in found.lines.items()} == {"i0": 1, "i7": 3, "o0": 1}
    kept = replace(ours, lines={"o0": spiky}).without_short(0.05, "i7")
    assert kept.lines["o0"].times.tolist() == [0.0, 3.0, 3.1]
