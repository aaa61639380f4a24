"""What handlings foretell, in time: where the slot is up, how steps count, and what a hand does that takes another
clock for its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.datasheet import RestartLine, StepLine
from forelight.designs.procedures.procedure import (
    Action,
    Frames,
    Pulse,
    Repeat,
    Restart,
    Seconds,
    Set,
    Steps,
    parse,
)
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.leads import STRAIGHT
from forelight.harness.verdict.causes import clock, hand
from forelight.harness.verdict.causes.foretell import Foreteller, Prospect, on_axis, shortened
from forelight.harness.verdict.causes.mishap import Handling

from .benches import handling, recorded, slot_of

TELLER = Foreteller("i7")


def meant() -> Handling:
    return handling("travelling_wave", (Steps(20), Set({"i1": 1}), Steps(30)), i0=1)


def told(it: Handling, steps: int | None = None) -> Prospect:
    found = TELLER.prospect(it, steps)
    assert found is not None
    return found


@pytest.mark.parametrize("waits", [(), ("oscillator off", "wait 1 s", "oscillator on")])
def test_the_slot_is_up_when_the_hand_has_let_go_of_the_restart(waits: tuple[str, ...]) -> None:
    it = meant()
    it = replace(it, before=(*it.before[:-1], *parse(waits), *it.before[-1:]))
    by_hand = Hand(it.board, it.sheet, it.slot)
    by_hand.do(it.before)
    found = told(it)
    assert found.up == by_hand.now
    # From there on steps count: 0 at first, and all 50 at last.
    row = int(np.searchsorted(found.golden.ticks, found.up, side="right")) - 1
    assert (found.golden.steps[row], found.golden.steps[-1]) == (0, 50)
    assert found.foretold.freed * found.foretold.unit == pytest.approx(found.up, abs=it.board.frame_ticks)


def steps_in(actions: tuple[Action, ...]) -> int:
    total = 0
    for one in actions:
        if isinstance(one, Repeat):
            total += one.count * steps_in(one.actions)
        elif isinstance(one, Steps | Pulse):
            total += one.count
    return total


def test_a_procedure_that_is_cut_off_makes_as_many_steps_as_are_asked_for() -> None:
    loop = Repeat(10, (Steps(3), Set({"i0": 1}), Pulse(4), Set({"i0": 0})))
    actions: tuple[Action, ...] = (Set({"i1": 1}), Steps(5), loop, Steps(100), Set({"i2": 1}), Steps(7))
    total = steps_in(actions)
    assert total == 5 + 70 + 100 + 7
    for steps in range(1, total + 3):
        short = shortened(actions, steps)
        made = steps_in(short)
        # A loop is done a whole number of times; all else ends with the step that was asked for.
        most = steps if not 5 < steps <= 75 else 5 + -(-(steps - 5) // 7) * 7
        assert made == min(most, total), steps
        assert short[: len(short) - 1] == actions[: len(short) - 1]
    assert shortened((Set({"i1": 1}), Set({"i2": 1})), 0) == (Set({"i1": 1}),)


def test_steps_by_hand_keep_their_pace() -> None:
    """Cut off, or miscounted: a hand goes on as fast as it did."""
    assert shortened((Pulse(9, 100),), 4) == (Pulse(4, 100),)
    it = replace(meant(), then=(Pulse(9, 100), Set({"i1": 1}), Pulse(5, 50)))
    made = {one.name: one.change(it).then for one in hand.causes(it, recorded(meant()))}
    assert made["steps of 1, one too many"] == (Pulse(10, 100), *it.then[1:])
    assert made["steps of 3, one too few"] == (*it.then[:2], Pulse(4, 50))


def test_a_clock_that_stops_leaves_everything_as_it_was_then() -> None:
    it = replace(meant(), then=(Steps(20), Set({"i1": 1}), Steps(30)))
    whole, stopped = told(it), told(clock.stopped_on_the_way(it, 11, 2.0).change(it))
    assert stopped.golden.steps[-1] == 11
    ends = whole.foretold.rises[whole.foretold.rises > whole.foretold.freed][10]
    for name in ("o0", "o3", "o6"):
        one, other = whole.foretold.lines[name], stopped.foretold.lines[name]
        before = np.arange(0.25, ends, 0.5)
        np.testing.assert_array_equal(one.at(before), other.at(before), name)
        assert other.times[-1] < ends + 1.5, name
    assert stopped.foretold.end - ends > 1.9 * float(it.board.step_hz(29))  # seconds go on without it


def test_on_the_axis_of_another_prediction_instants_stay_what_they_are() -> None:
    base = told(meant()).foretold
    plain = handling("travelling_wave")
    sheet, slot = load_design("watch_vote"), slot_of("watch_vote")
    vote = (Set({"i0": 1}), Seconds(0.5), Set({"i1": 1}), Seconds(0.5))
    still = told(replace(plain, sheet=sheet, slot=slot, home=slot, before=(), then=vote)).foretold
    assert still.hz is None and still.unit != base.unit
    there = on_axis(still, base)
    assert there.unit == pytest.approx(base.unit)
    for name in ("end", "since", "freed", "onward"):
        assert getattr(there, name) * there.unit == pytest.approx(getattr(still, name) * still.unit), name
    for name, line in still.lines.items():
        assert there.lines[name].times * there.unit == pytest.approx(line.times * still.unit)
    # With a clock of its own, steps begin where those of the other one do.
    other = next(one for one in clock.causes(meant(), recorded(meant())) if one.name == "strap code 56")
    fast = told(other.change(meant())).foretold
    laid = on_axis(fast, base)
    first = laid.rises[laid.rises >= laid.since][0]
    assert first % 1.0 == pytest.approx(base.rises[base.rises >= base.since][0] % 1.0)
    assert np.diff(laid.rises) == pytest.approx(np.diff(fast.rises))
    assert laid.end - laid.freed == pytest.approx(fast.end - fast.freed)


def test_a_hand_that_goes_by_its_watch_and_is_right_does_what_was_meant() -> None:
    """It takes the clock for what it is, so that all happens when it would have."""
    it = replace(meant(), then=(Steps(20), Repeat(2, (Set({"i1": 1}), Steps(5))), Steps(9)))
    watch = clock.by_watch(it, 29)
    assert watch is not None
    assert not any(isinstance(action, Steps | Restart) for action in (*watch.before, *watch.then))
    one, other = TELLER.plan(it), TELLER.plan(watch)
    assert one is not None and other is not None and one[1] == other[1]
    for name in ("frames", "lines", "turns", "slots"):
        np.testing.assert_array_equal(getattr(one[0], name), getattr(other[0], name), name)
    # By half the rate it waits for twice as long, and sees half the steps that it thinks it does.
    slow = clock.by_watch(it, 30)
    assert slow is not None
    waits = [[a.count for a in each.then if isinstance(a, Frames)] for each in (watch, slow)]
    board = it.board
    assert waits[1] == pytest.approx(
        [count * board.half(30) / board.half(29) for count in waits[0]], abs=2 * board.half(30)
    )
    still = replace(it, then=(Steps(50),))
    assert clock.by_watch(still, 29) is not None  # the restart may be too short
    assert clock.by_watch(replace(still, before=it.before[:-1]), 29) is None


@pytest.mark.parametrize("line", ["i0", "i5", "i7"])
def test_a_restart_on_an_input_is_held_by_its_switch(line: str) -> None:
    it = meant()
    step = "i7" if line != "i7" else "i6"
    sheet = replace(it.sheet, step=StepLine(step), restart=RestartLine(line, "high"))
    it = replace(it, sheet=sheet, before=(Set({line: 0}), Restart()))
    held = next(one for one in hand.causes(it, recorded(meant())) if one.name == "restart held")
    changed = held.change(it)
    assert (changed.before, changed.leads) == ((Set({line: 1}), Set({line: 1})), STRAIGHT)


def test_a_power_up_shows_the_same_by_itself_as_beside_others() -> None:
    it = handling("travelling_wave")
    planned = TELLER.plan(replace(it, before=it.before[:-1]))  # never restarted
    assert planned is not None
    whole, begun = (TELLER.woken(planned, until) for until in (np.inf, float(planned[1])))
    assert whole is not None and begun is not None
    assert 1 < begun.outputs.shape[1] < whole.outputs.shape[1]  # it is run for as long as was asked
    assert (whole.outputs[:, : begun.outputs.shape[1]] == begun.outputs).all()
    assert len({row.tobytes() for row in whole.outputs}) > 100
    for wake in (0, 1, 2, 3, 77, len(whole.outputs) - 1):
        found = TELLER.told(planned, wake)
        assert found is not None
        golden = found.golden
        assert (golden.settled[1:] == 0xFF).all()  # before a chain's first frame nothing is at the pins
        after = whole.ticks[1:]
        row = np.searchsorted(golden.ticks, after, side="right") - 1
        assert (golden.outputs[row] == whole.outputs[wake, 1:]).all(), wake
