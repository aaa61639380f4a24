"""The causes of recordings without noise: the true one is named, and nothing is where nothing is wrong."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from forelight.designs.procedures.procedure import Seconds, Set, Steps, Strap
from forelight.harness.capture.record import Capture, RecordedLine, changes_only
from forelight.harness.hand.routine import default_procedure
from forelight.harness.verdict.causes import pairs
from forelight.harness.verdict.causes.clock import stopped_on_the_way
from forelight.harness.verdict.causes.foretell import Foreteller
from forelight.harness.verdict.causes.inquiry import NOTHING, Inquiry
from forelight.harness.verdict.causes.mishap import Handling, Mishap
from forelight.harness.verdict.causes.rank import FAMILIES, rank
from forelight.harness.verdict.causes.suspects import Explained, Ranking
from forelight.sim.levels import UNKNOWN

from tests.harness.verdict.causes.benches import OUTPUTS, by_eye, handling, inquiry, recorded


@cache
def meant() -> Handling:
    """A ring of cells whose rule is changed on the way."""
    return handling("travelling_wave", (Steps(20), Set({"i1": 1}), Steps(60)), i0=1)


@cache
def listed() -> Capture:
    return by_eye(meant())


def cause(name: str) -> Mishap:
    return next(found for family in FAMILIES for found in family(meant(), listed()) if found.name == name)


def ranked(capture: Capture) -> Ranking:
    return rank(meant(), capture, meant().board, "i7")


def first_names(ranking: Ranking) -> set[str]:
    return {one.cause.name for group in ranking.convincing[:1] for one in group.members}


@pytest.mark.slow
@pytest.mark.parametrize("name", ["i1 the other way", "restart held", "move 2 (i1=1) left out"])
def test_a_slip_of_the_hand_is_named_from_a_list_by_eye(name: str) -> None:
    assert name in first_names(ranked(by_eye(cause(name).change(meant()))))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["inputs left at 0", "strap code 56"])
def test_a_slip_is_named_from_an_instrument(name: str) -> None:
    assert name in first_names(ranked(recorded(cause(name).change(meant()))))


@pytest.mark.parametrize("eye", [True, False], ids=["by eye", "by an instrument, its beginning first"])
def test_a_channel_that_stays_at_1_is_named(eye: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("forelight.harness.verdict.causes.rank.LOOK", 16)  # of some 60 steps
    it = handling("tide_gauge")
    shown = by_eye(it) if eye else recorded(it, steps=58)
    stuck = RecordedLine(np.full(1, shown.start), np.ones(1, np.uint8))
    found = rank(it, replace(shown, lines={**shown.lines, "o4": stuck}), it.board, "i7")
    assert "o4 stuck at 1" in first_names(found)
    assert {row.line for row in found.differing} == {"o4"}
    assert found.odds(found.groups[0]) > 0.9


@pytest.mark.slow
def test_another_slot_is_foretold_for_as_long_as_was_recorded() -> None:
    """Ten seconds of a lighthouse, by a board of many slots on which a slower design was meant."""
    other = handling("lighthouse")
    long = default_procedure(other.board, other.sheet, slot=other.slot, steps=3200)
    shown = recorded(replace(other, before=long.actions[:-2], then=long.actions[-2:]), steps=500)
    it = handling("tide_gauge")
    found = rank(it, shown, it.board, "i7")
    assert first_names(found) == {f"slot {other.slot} as such"}


@pytest.mark.slow
def test_a_faster_clock_is_looked_at_for_as_long_as_the_recording(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("forelight.harness.verdict.causes.rank.LOOK", 4)
    monkeypatch.setattr("forelight.harness.verdict.causes.rank.AHEAD", 8)
    it = handling("travelling_wave", (Steps(900),), i0=1)
    quick = replace(it, before=tuple(Strap(1) if isinstance(one, Strap) else one for one in it.before))
    # Code 32 has the same rate, by the law of this board's divider.
    assert {"strap code 1", "strap code 32"} & first_names(
        rank(it, recorded(quick, steps=50), it.board, "i7")
    )


@pytest.mark.slow
@pytest.mark.parametrize("quarter", range(4))
def test_a_design_that_was_never_restarted_is_known_from_whichever_state_it_woke_up_in(quarter: int) -> None:
    it = meant()
    truth = replace(cause("restart never given").change(it), wake=64 * quarter + 37)
    told = Foreteller("i7").prospect(truth)
    assert told is not None
    shown, first = told.foretold, told.foretold.onward
    seconds = shown.unit / shown.oscillator_hz
    lines = {
        name: changes_only(
            np.r_[0.0, (line.times[line.times > first] - first) * seconds],
            np.r_[line.at(np.array([first])), line.levels[line.times > first]],
        )
        for name, line in shown.lines.items()
        if name in OUTPUTS
    }
    names = first_names(ranked(Capture(lines, 0.0, 60 * seconds)))
    assert "restart never given" in names


@pytest.mark.slow
def test_nothing_is_likelier_than_that_nothing_is_wrong() -> None:
    right = ranked(listed())
    assert right.meant is not None
    assert all(group.bits < right.meant.bits - 10 for group in right.groups)


@pytest.mark.slow
def test_what_no_cause_makes_has_none() -> None:
    rng = np.random.default_rng(7)
    at = np.arange(30, dtype=np.float64)
    noise = {f"o{n}": RecordedLine(at, rng.integers(0, 2, 30).astype(np.uint8)) for n in range(8)}
    assert ranked(Capture(noise, 0.0, 30.0, unit="steps")).convincing == ()


def test_ways_that_foretell_the_same_count_as_one() -> None:
    search = inquiry(meant(), listed())
    told = search.readings.meant
    one, two = (search.best(NOTHING, -3.0, meant(), [(told, 1.0, 0.0)] * count) for count in (1, 2))
    assert one is not None and two is not None
    assert two.bits == pytest.approx(one.bits)
    assert one.bits == pytest.approx(one.fit.bits - 3.0)
    rarer = search.best(NOTHING, -3.0, meant(), [(told, 1.0, 4.0)])
    assert rarer is not None and rarer.bits == pytest.approx(one.bits - 4.0)


@pytest.mark.parametrize(("wrong", "is_open"), [(0, True), (6, True), (9, False)])
def test_what_is_left_open_may_come_of_a_power_up_if_all_else_is_nearly_as_foretold(
    wrong: int, is_open: bool
) -> None:
    """Of 8 lines 3 are left open, and of the 375 other levels of a list some are wrong: up to two in a hundred."""
    seen = by_eye(meant(), 75)
    levels = seen.lines["o6"].at(np.arange(75, dtype=np.float64) + 0.5)
    levels[np.arange(wrong) * 8] ^= 1
    lines = {**seen.lines, "o6": changes_only(np.arange(75, dtype=np.float64), levels)}
    search = inquiry(meant(), replace(seen, lines=lines))
    told = search.readings.meant
    assert not search.is_open(meant(), told, 1.0)
    nothing = RecordedLine(np.zeros(1), np.full(1, UNKNOWN, np.uint8))
    foretold = replace(told.foretold, lines={**told.foretold.lines, **dict.fromkeys(OUTPUTS[:3], nothing)})
    assert search.is_open(meant(), replace(told, foretold=foretold), 1.0) == is_open


@pytest.mark.parametrize("steps", [20, 33])
def test_a_clock_that_stopped_on_the_way_is_told_with_its_step_and_its_rest(steps: int) -> None:
    it = handling("travelling_wave", i0=1)
    capture = recorded(stopped_on_the_way(it, steps, 2.0).change(it), steps=steps + 30)
    search = inquiry(it, capture)
    search.weigh_stop()
    (found,) = search.found
    step = 1 / float(it.board.step_hz(29))
    last = max(float(line.times[-1]) for line in capture.lines.values())
    counted, _, rest = found.handling.then[-3:]
    assert isinstance(rest, Seconds)
    # An instrument may count 2 % too many seconds.
    assert 1.02 * (capture.end - last) < rest.seconds < 1.05 * (capture.end - last) + step
    assert isinstance(counted, Steps) and abs(counted.count - steps) <= 1
    assert found.fit.best.mismatches == 0
    whole = inquiry(it, recorded(it, steps=40))
    whole.weigh_stop()
    assert whole.found == []


WEIGHINGS = (
    "weigh", "weigh_silicon", "weigh_clips", "weigh_power_ups", "weigh_list", "weigh_stop", "weigh_unrestarted",
)  # fmt: skip


def explaining(one: Explained, bits: float) -> Explained:
    """As though that explained all of the recording."""
    return replace(one, bits=bits, fit=replace(one.fit, bits=one.recording.null_bits))


def weighed(
    monkeypatch: pytest.MonkeyPatch, capture: Capture, found: Sequence[float] = ()
) -> dict[str, list[Inquiry]]:
    """Who was asked to weigh what, where each of the first look found causes of so many bits and no weighing more."""
    asked: dict[str, list[Inquiry]] = {name: [] for name in WEIGHINGS}

    def noted(name: str) -> Callable[..., None]:
        def note(search: Inquiry, *args: object) -> None:
            asked[name].append(search)
            if name == "weigh_silicon":
                one = search.explained(NOTHING, 0.0, search.it)
                search.found += [explaining(one, bits) for bits in found] if one is not None else []

        return note

    for name in WEIGHINGS:
        monkeypatch.setattr(Inquiry, name, noted(name))
    asked["pairs"] = []
    monkeypatch.setattr(pairs, "weigh", lambda search, causes: asked["pairs"].append(search))
    ranked(capture)
    return asked


@pytest.mark.parametrize(("look", "first"), [(40, False), (12, True)])
def test_what_is_long_is_looked_at_by_its_beginning_first(
    look: int, first: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a recording of 58 steps twice 12 are a beginning, and twice 40 are not; a list is looked at as a whole."""
    monkeypatch.setattr("forelight.harness.verdict.causes.rank.LOOK", look)
    for capture, apart in ((recorded(meant(), steps=58), first), (listed(), False)):
        asked = weighed(monkeypatch, capture)
        assert (asked["weigh_silicon"][0] is not asked["weigh_stop"][0]) == apart


@pytest.mark.parametrize(("bits", "again"), [(-5.0, False), (-20.0, True)])
def test_of_what_stands_still_rarer_causes_are_tried_where_none_is_likely(
    bits: float, again: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One recording in 10,000 has no cause, a matter of 13 bits."""
    still = {name: RecordedLine(np.zeros(1), np.zeros(1, np.uint8)) for name in OUTPUTS}
    asked = weighed(monkeypatch, Capture(still, 0.0, 30.0, unit="steps"), (bits,))
    assert bool(asked["weigh_unrestarted"]) == again
    assert bool(asked["pairs"]) == again
