"""Experiments that tell two causes apart: each is tried on the bench that is foretold in full, for both of them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
from forelight.designs.procedures.procedure import Action, Restart, Seconds, Set, Steps
from forelight.harness.bench.predict import predict
from forelight.harness.golden.golden import Golden
from forelight.harness.verdict.causes.experiment import Experiment, sentence, separating
from forelight.harness.verdict.causes.foretell import Foreteller
from forelight.harness.verdict.causes.mishap import Handling, Mishap
from forelight.harness.verdict.causes.rank import FAMILIES

from tests.sizes import sized

from .benches import OUTPUTS, handling, recorded


@cache
def meant() -> Handling:
    return handling("travelling_wave", (Steps(40),), i0=1)


@cache
def causes() -> dict[str, Mishap]:
    return {one.name: one for family in FAMILIES for one in family(meant(), recorded(meant()))}


@cache
def teller() -> Foreteller:
    return Foreteller("i7")


def separated(first: str, second: str, lines: tuple[str, ...] = OUTPUTS) -> Experiment | None:
    return separating(causes()[first], causes()[second], meant(), lines, teller())


def tried(cause: Mishap, then: tuple[Action, ...]) -> Golden:
    it = cause.change(replace(meant(), then=then))
    return predict(it.board, it.sheet, it.procedure, slot=it.home, power_ups=4)


def at_end(golden: Golden, line: str) -> int | None:
    bit = int(line[1])
    return int(golden.outputs[-1]) >> bit & 1 if int(golden.settled[-1]) >> bit & 1 else None


#: Slips of the hand that leave the step clock and the slot what they are.
SLIPS = ("i0 the other way", "i1 the other way", "restart held", "inputs left at 0", "straps not put back")


def test_what_is_found_shows_its_two_levels_and_nothing_shorter_does() -> None:
    """A wait in steps, as the step clock is the same by both."""
    found = 0
    for first, second in list(combinations(SLIPS, 2))[:: sized(2, 1)]:
        made = separated(first, second)
        if made is None:
            continue
        found += 1
        assert made.actions[0] == Restart() and isinstance(made.actions[-1], Steps)
        moves = made.actions[1:-1]
        last = made.actions[-1].count
        pair = [causes()[name] for name in (first, second)]
        assert [at_end(tried(one, made.actions[1:]), made.line) for one in pair] == [made.first, made.second]
        assert made.first != made.second
        for count in range(1, last):  # a step more is no harm to what is found, so both are looked at
            both = [[tried(one, (*moves, Steps(n))) for one in pair] for n in (count, count + 1)]
            assert not any(
                all(None not in (a, b) and a != b for a, b in levels)
                for line in OUTPUTS
                for levels in [[(at_end(one, line), at_end(other, line)) for one, other in both]]
            ), (first, second, count)
    assert found >= 4


def test_by_a_watch_the_line_keeps_still_for_as_long_as_a_person_may_be_early_or_late() -> None:
    """A wave that goes round at 50 steps a second is still at no time; one that dies out is, and so is no clock."""
    assert separated("strap code 30", "strap code 28") is None
    first, second = "step clock off", "i1 the other way"
    made = separated(first, second)
    assert made is not None and isinstance(made.actions[-1], Seconds)
    seconds = made.actions[-1].seconds
    assert seconds % 0.25 == 0
    for name, level in ((first, made.first), (second, made.second)):
        golden = tried(causes()[name], (*made.actions[1:-1], Seconds(seconds + 1)))
        hz = golden.oscillator_hz
        around = golden.end - hz + np.linspace(-0.24, 0.24, 25) * hz
        rows = np.searchsorted(golden.ticks, around, side="right") - 1
        bit = int(made.line[1])
        assert set((golden.outputs[rows] >> bit & golden.settled[rows] >> bit & 1).tolist()) == {level}
        assert (golden.settled[rows] >> bit & 1).all()


def test_a_switch_without_contact_shows_once_it_is_moved() -> None:
    """i1 and i5 rest at the level to which their pins are pulled, and are 0 in the strap code; i5 leads nowhere."""
    made = separated("no contact at i1", "no contact at i5")
    assert made is not None
    assert [action for action in made.actions if isinstance(action, Set)] == [Set({"i1": 1})]


def test_what_is_gone_when_something_else_is_done_is_not_asked() -> None:
    assert separated("time base off by 2", "i1 the other way") is None
    assert separated("i1 the other way", "time base off by 2") is None
    assert separated("i1 the other way", "i2 the other way") is not None
    assert separated("i1 the other way", "i2 the other way", ()) is None


def test_what_shows_the_same_whatever_is_done_is_not_told_apart() -> None:
    assert separated("o1 stuck at 0", "o1 stuck at 0") is None


def test_an_experiment_in_words() -> None:
    first, second = causes()["i1 the other way"], causes()["o0 stuck at 1"]
    board = meant().board
    made = Experiment((Restart(), Set({"i3": 0, "i2": 1}), Steps(1)), "o0", 0, 1)
    assert sentence(made, first, second, board) == (
        f"Give the restart, put i2 at 1, put i3 at 0, wait 1 step, look at segment {board.display['o0']} (o0): dark "
        'means "i1 the other way", lit means "o0 stuck at 1".'
    )
    line = next(line for line, segment in board.display.items() if segment == "point")
    made = Experiment((Seconds(2.5),), line, 1, 0)
    assert sentence(made, first, second, board) == (
        f'Wait 2.5 s, look at the point ({line}): lit means "i1 the other way", dark means "o0 stuck at 1".'
    )
    plain = replace(board, display={})
    assert sentence(Experiment((Steps(12),), "o3", 1, 0), first, second, plain) == (
        'Wait 12 steps, look at o3: 1 means "i1 the other way", 0 means "o0 stuck at 1".'
    )
