"""A recording read at the rates of other clocks than was meant: the true one fits it, and others do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.designs.procedures.procedure import Steps, Strap
from forelight.harness.capture.record import Capture, RecordedLine
from forelight.harness.verdict.causes import clips
from forelight.harness.verdict.causes.foretell import Foreteller
from forelight.harness.verdict.causes.mishap import CLIPPED, Clip, Handling
from forelight.harness.verdict.causes.readings import Readings
from forelight.harness.verdict.clock import steady
from forelight.harness.verdict.placement import timed
from forelight.harness.verdict.rows import Moments, ReadRows
from forelight.sim.levels import UNKNOWN

from .benches import OUTPUTS, handling, recorded

TELLER = Foreteller("i7")


def meant() -> Handling:
    """Rule 30, which looks random; it goes on for longer than is recorded."""
    return handling("travelling_wave", (Steps(200),), i0=1)


def strapped(code: int) -> Handling:
    it = meant()
    before = tuple(Strap(code) if isinstance(action, Strap) else action for action in it.before)
    return replace(it, before=before)


def readings(true: Handling, names: tuple[str, ...] = OUTPUTS) -> Readings:
    told = TELLER.prospect(meant())
    assert told is not None
    return Readings(recorded(true, names, steps=60), true.board, told, "i7")


@pytest.mark.parametrize(("code", "near"), [(20, 23), (56, 53), (60, 56)])
def test_the_rate_of_the_clock_that_ran_is_known_by_the_edges(code: int, near: int) -> None:
    """`near` is a code by which the step clock would be a seventh faster or slower."""
    found = readings(strapped(code))
    hz, usual = float(meant().board.step_hz(code)), float(meant().board.step_hz(29))
    assert found.may_step(hz) and not found.may_step(usual)
    assert not any(found.may_step(hz * away) for away in (0.7, 0.87, 1.15, 1.3))
    assert any(pace == pytest.approx(usual / hz, rel=0.02) for pace in found.free_paces())
    told, other = TELLER.prospect(strapped(code)), TELLER.prospect(strapped(near))
    assert told is not None and other is not None
    reading = found.of(told, 1.0)
    assert reading is not None and reading is not found.usual
    clock = reading.recordings[0].clock
    assert clock is not None and clock.rate / reading.scale == pytest.approx(1, rel=0.02)
    assert found.of(other, 1.0) is None
    assert found.of(found.meant, 1.0) is found.usual
    # By an instrument that counts otherwise it is a reading of its own, as lines change elsewhere in a step.
    other_reading = found.of(found.meant, usual / hz)
    assert other_reading is not None and other_reading is not reading
    assert all(found.of(found.meant, usual / hz * pace) is other_reading for pace in (0.99, 1.01))
    assert found.of(found.meant, usual / hz * 0.7) is not other_reading
    assert found.of(told, 1.01) is reading


def test_no_clock_is_nearly_as_fast_as_the_samples() -> None:
    """Edges all lie on the grid of the samples: a rate near theirs explains anything."""
    found = readings(strapped(56))
    paces = found.free_paces()
    hz, true = (float(meant().board.step_hz(code)) for code in (29, 56))
    sampled = replace(found, capture=replace(found.capture, period=1 / (6 * true)))
    assert any(true * 2.4 < hz / pace for pace in paces) or len(paces) > 0
    assert sampled.free_paces() == [pace for pace in paces if hz / pace < 0.4 * 6 * true]
    coarse = replace(found, capture=replace(found.capture, period=1 / (2 * true)))
    assert not any(pace == pytest.approx(hz / true, rel=0.02) for pace in coarse.free_paces())


def test_of_the_clock_that_was_meant_there_is_one_reading() -> None:
    found = readings(meant())
    assert not found.may_step(float(meant().board.step_hz(29)))  # that foretells what was meant
    assert found.of(found.meant, 1.0) is found.usual
    assert found.of(found.meant, 1.01) is found.usual


def test_a_step_line_that_was_recorded_says_the_rate() -> None:
    hz, usual = (float(meant().board.step_hz(code)) for code in (56, 29))
    found = readings(strapped(56), (*OUTPUTS, "i7"))
    assert found.given == pytest.approx(hz, rel=0.01)
    assert found.may_step(hz) and not found.may_step(hz * 1.05) and not found.may_step(usual)
    assert found.free_paces() == [pytest.approx(usual / hz, rel=0.01)]
    assert readings(meant(), (*OUTPUTS, "i7")).free_paces() == []


@pytest.mark.parametrize(
    ("code", "by_hand", "off"), [(29, False, False), (25, False, True), (25, True, False), (20, True, True)]
)
def test_a_hand_may_be_off_its_pace_by_a_quarter(code: int, by_hand: bool, off: bool) -> None:
    """A half of a step lasts 30 frames by code 29, as was meant, 26 by 25 and 21 by 20."""
    found = replace(readings(strapped(code), (*OUTPUTS, "i7")), by_hand=by_hand)
    assert found.given_rate_is_off == off


def test_by_a_slow_clock_it_costs_more_to_say_when_edges_come() -> None:
    """By the clock that ran, edges keep to places in a step; by one that is far slower they come anywhere in it."""
    found = readings(strapped(56))
    told = TELLER.prospect(strapped(56))
    assert told is not None
    reading = found.of(told, 1.0)
    assert reading is not None
    true = reading.recordings[0]
    slow = replace(true, clock=steady(reading.scale / 64))
    edges = sum(len(line.times) - 1 for line in found.capture.lines.values())
    assert found.times_bits(slow, reading) - found.times_bits(true, reading) > 6 * edges


def test_where_nothing_was_meant_to_move_a_cause_says_where_lines_do() -> None:
    """All outputs were meant to rest at 0."""
    it = meant()
    moving = TELLER.prospect(it)
    assert moving is not None
    resting = TELLER.laid(replace(moving.golden, outputs=moving.golden.outputs * 0), moving.up)
    found = Readings(recorded(it, steps=60), it.board, resting, "i7")
    assert found.usual.edges < 3 and found.of(resting, 1.0) is found.usual
    reading = found.of(moving, 1.0)
    assert reading is not None and reading.edges > 50
    rows = found.rows(moving.foretold, reading)
    assert max(fit.bits for _, fit in found.fits(rows, reading)) > 0.8 * reading.null_bits
    assert found.of(moving, 1.0) is reading


def test_few_instants_say_how_fast_a_clock_ran() -> None:
    """Three instants at which two lines move, as far apart as three of five that are foretold, 1.37 times as slow."""
    found = readings(meant())
    told = found.meant.foretold
    due = np.array([10.0, 33.0, 51.0, 90.0, 131.0]) + told.since
    levels = np.array([0, 1, 0, 1, 0, 1], np.uint8)
    still = RecordedLine(np.zeros(1), np.zeros(1, np.uint8))
    lines = {**told.lines, **dict.fromkeys(OUTPUTS, still)}
    lines |= dict.fromkeys(("o0", "o1"), RecordedLine(np.r_[0.0, due], levels))
    assert told.hz is not None
    seen = RecordedLine(np.r_[0.0, due[1:4] * 1.37 / told.hz], levels[1:5])
    capture = Capture({**dict.fromkeys(OUTPUTS, still), "o0": seen, "o1": seen}, 0.0, 110 * 1.37 / told.hz)
    meant_ = replace(found.meant, foretold=replace(told, lines=lines))
    paces = Readings(capture, found.board, meant_, "i7").free_paces()
    assert paces[0] == pytest.approx(1.37, rel=0.01)


def test_what_woke_up_at_any_level_rests_at_the_one_that_was_recorded() -> None:
    """Where nothing steps the bench; each level that is known so was one of two."""
    still = {name: RecordedLine(np.zeros(1), np.array([n & 1], np.uint8)) for n, name in enumerate(OUTPUTS)}
    found = replace(readings(meant()), capture=Capture(still, 0.0, 3.0))
    told = found.meant.foretold
    anything = RecordedLine(np.zeros(1), np.full(1, UNKNOWN, np.uint8))
    told = replace(told, lines={**told.lines, **dict.fromkeys(OUTPUTS[:3], anything)})
    assert found.at_rest(told, found.usual) == (told, 0)
    resting, count = found.at_rest(replace(told, hz=None), found.usual)
    assert count == 3
    assert [resting.lines[name].levels.tolist() for name in OUTPUTS[:3]] == [[0], [1], [0]]
    assert resting.lines["o3"] is told.lines["o3"]


def test_edges_that_no_row_shows_are_no_spikes() -> None:
    """Of 400 spikes and 4 edges that last a clock shows the edges, and one that shows none has to tell them apart."""
    rng = np.random.default_rng(6)
    print("seed 6")
    starts = np.sort(rng.uniform(0, 4, 200))
    spikes = np.stack([starts, starts + 2e-5], axis=1).ravel()
    spiky = RecordedLine(np.r_[0.0, spikes], np.r_[0, np.tile([1, 0], 200)].astype(np.uint8))
    moving = RecordedLine(np.array([0, 0.7, 1.3, 2.2, 3.1]), np.array([0, 1, 0, 1, 0], np.uint8))
    rest = RecordedLine(np.zeros(1), np.zeros(1, np.uint8))
    lines = {**dict.fromkeys(OUTPUTS, rest), "o0": spiky, "o1": moving}
    found = replace(readings(meant()), capture=Capture(lines, 0.0, 4.0))
    true = found.usual.recordings[0]
    blind = replace(true, rows=replace(true.rows, levels=np.zeros_like(true.rows.levels)))
    clock = steady(found.usual.scale)
    shown, hidden = (found.times_bits(replace(one, clock=clock), found.usual) for one in (true, blind))
    assert hidden - shown == pytest.approx(4 * np.log2(np.e * 4 / 4) + 4 * np.log2(found.usual.scale), abs=1)


def test_a_recording_that_rests_is_not_of_a_bench_that_moves_sooner() -> None:
    still = {name: RecordedLine(np.zeros(1), np.zeros(1, np.uint8)) for name in OUTPUTS}
    found = replace(readings(meant()), capture=Capture(still, 0.0, 3.0))
    assert found.still and not found.usual.edges
    assert not found.rests_as(found.meant.foretold, found.usual, 1.0)
    assert found.rests_as(found.meant.foretold, found.usual, 300.0)  # by a watch that is so much too fast


def test_a_list_by_eye_has_no_rate() -> None:
    found = readings(meant())
    listed = replace(found, capture=replace(found.capture, unit="steps"))
    assert listed.free_paces() == [] and not listed.may_step(20.0)


def test_channels_in_another_order_are_found_with_those_that_stand_still() -> None:
    """o1 and o2 are swapped, o5 is upside down, the channel of o3 stays at 0 and that of o6 at 1."""
    right = recorded(meant(), steps=60).lines
    upside_down = right["o5"].levels.copy()
    upside_down[upside_down != UNKNOWN] ^= 1
    still = replace(right["o3"], times=right["o3"].times[:1], levels=right["o3"].levels[:1] * 0)
    shown = {
        **right,
        "o1": right["o2"],
        "o2": right["o1"],
        "o3": still,
        "o5": replace(right["o5"], levels=upside_down),
        "o6": replace(still, levels=still.levels + 1),
    }
    found = readings(meant())
    found = replace(found, capture=replace(found.capture, lines=shown))
    reading = found.usual
    rows = found.rows(found.meant.foretold, reading)
    first = next(clips.found(reading.recordings[0], rows, OUTPUTS))
    assert first.name == "o1 shows o2, o2 shows o1, o3 stays at 0, o5 shows o5 upside down and o6 stays at 1"
    assert first.kind == "two slips"
    changes = {1: Clip(2), 2: Clip(1), 3: Clip(0, level=0), 5: Clip(5, inverted=True), 6: Clip(0, level=1)}
    assert first.change(meant()).clips == tuple(changes.get(n, clip) for n, clip in enumerate(CLIPPED))


def test_a_channel_is_upside_down_only_where_none_shows_the_same_as_it_is() -> None:
    """o1 is o0 upside down, and the channels of o0 and o2 are swapped."""
    print("seed 5")
    shown = np.random.default_rng(5).integers(0, 256, 300).astype(np.uint8)
    shown = (shown & 0xFD | (~shown & 1) << 1).astype(np.uint8)
    seen = (shown & 0xFA | (shown & 1) << 2 | shown >> 2 & 1)[100:200].astype(np.uint8)
    at = Moments(OUTPUTS, ((0.5,),) * 8, ((0.5,),) * 8)
    recording = timed(at, ReadRows(seen, np.full(100, 0xFF, np.uint8), 1), steady(1.0))
    prediction = ReadRows(shown, np.full(300, 0xFF, np.uint8), 1)
    assert [cause.name for cause in clips.found(recording, prediction, OUTPUTS)][:1] == ["o0 and o2 swapped"]


def test_what_lasts_for_much_longer_than_a_prediction_is_not_read_by_its_clock() -> None:
    told, other = TELLER.prospect(meant()), TELLER.prospect(strapped(1))
    assert told is not None and other is not None
    still = RecordedLine(np.zeros(1), np.zeros(1, np.uint8))
    steps = other.foretold.end / (other.foretold.hz or 0.0)
    for length, read in ((0.5, True), (10.0, False)):
        found = Readings(Capture({"o0": still}, 0.0, length * steps), meant().board, told, "i7")
        assert (found.of(other, 1.0) is not None) is read


def test_spikes_are_not_priced_as_edges_of_a_clock() -> None:
    """In what rests but for spikes a fast clock keeps some of these as edges, and must not be the likelier for it."""
    it = meant()
    rng = np.random.default_rng(5)
    starts = np.sort(rng.uniform(0, 2, 40))
    times = np.stack([starts, starts + 2e-4], axis=1).ravel()
    spiky = RecordedLine(np.r_[0.0, times], np.r_[0, np.tile([1, 0], 40)].astype(np.uint8))
    told = TELLER.prospect(it)
    assert told is not None
    found = Readings(Capture({"o0": spiky}, 0.0, 2.2), it.board, told, "i7")
    costs = []
    for code in (29, 1, 120):
        other = TELLER.prospect(replace(strapped(code), then=(Steps(2000),)))
        assert other is not None
        reading = found.of(other, 1.0)
        assert reading is not None
        costs.append(found.times_bits(reading.recordings[0], reading))
    assert costs == pytest.approx([80 * np.log2(np.e * 2.2 / 80)] * 3, abs=40)
