"""What is tried next: the order with the fewest moves, and what a try may tell."""

from __future__ import annotations

import random
from itertools import permutations, product

import pytest
from forelight.harness.boards.reader import load_board
from forelight.harness.boards.roster import find
from forelight.harness.hand.routine import strap_code
from forelight.harness.survey.attempt import Details
from forelight.harness.survey.plan import STRETCH, Candidate, Worth, agreeing, entropy, ordered, plan, wanted
from forelight.harness.survey.setup import Setup, Setups, Walk, usual_run
from forelight.harness.survey.standing import SlotStanding, standings
from forelight.harness.verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE

from tests.sizes import sized

from .books import QUAY, attempt

SEED = 3
START = Setup(None, 0)


def by_hand(walk: Walk, start: Setup, order: tuple[Setup, ...]) -> int:
    """Switches that move, counted one by one from how they stand at each instant."""
    switches, kept, source, moves = start.inputs, start.code, start.code, 0
    for setup in order:
        stages = [setup.inputs]
        if setup.code is not None and setup.code != kept:
            if walk.strapped:
                stages = [setup.code, setup.inputs]
            elif source != setup.code:
                moves, source = moves + 1, setup.code
            kept = setup.code
        for stage in stages:
            moves += sum((switches >> bit & 1) != (stage >> bit & 1) for bit in range(8))
            switches = stage
    return moves


@pytest.mark.parametrize("strapped", [True, False])
def test_no_order_moves_fewer_switches(strapped: bool) -> None:
    """Against all orders there are, plain logic among the set-ups."""
    rng, walk = random.Random(SEED), Walk(strapped)
    print("seed", SEED)
    for _ in range(sized(12, 200)):
        pool = list(product((None, rng.randrange(256), rng.randrange(256), rng.randrange(256)), range(16)))
        setups = [Setup(*one) for one in rng.sample(pool, 6)]
        least = min(by_hand(walk, START, order) for order in permutations(setups))
        assert by_hand(walk, START, tuple(ordered(setups, walk, START))) == least


def test_a_long_plan_is_no_worse_than_always_going_to_the_nearest() -> None:
    rng, walk = random.Random(SEED), Walk(True)
    for _ in range(sized(2, 20)):
        setups = list({Setup(rng.randrange(256), rng.randrange(16)) for _ in range(5 * STRETCH)})
        left, nearest, stand = list(setups), list[Setup](), START
        while left:
            stand = min(left, key=lambda one: (walk.moves(stand, one), one.code or 0, one.inputs))
            left.remove(stand)
            nearest.append(stand)
        found = ordered(setups, walk, START)
        assert sorted(found, key=repr) == sorted(setups, key=repr)
        assert by_hand(walk, START, tuple(found)) <= by_hand(walk, START, tuple(nearest))


def candidate(slot: int, setup: Setup, bits: float = 1.0) -> Candidate:
    return Candidate(SlotStanding(slot, f"d{slot}", "", "untried"), setup, Worth("untried", bits))


def test_slots_that_share_a_set_up_come_together() -> None:
    one, other = Setup(182, 0), Setup(56, 3)
    tasks = [candidate(slot, one if slot % 2 else other) for slot in range(8)]
    visits = plan(tasks, Walk(True), one, 8)
    assert [visit.task.standing.slot for visit in visits] == [1, 3, 5, 7, 0, 2, 4, 6]
    assert [visit.moves for visit in visits] == [
        0,
        0,
        0,
        0,
        (0 ^ 56).bit_count() + (56 ^ 3).bit_count(),
        0,
        0,
        0,
    ]


def test_what_tells_the_most_for_the_work_is_chosen_first() -> None:
    near, far = Setup(1, 0), Setup(0x7F, 0)
    tasks = [candidate(1, near, 0.2), candidate(2, far, 1.0), candidate(3, near, 0.1)]
    assert [visit.task.standing.slot for visit in plan(tasks, Walk(True), near, 1)] == [1]
    tasks = [candidate(1, near, 0.01), candidate(2, far, 1.0)]
    assert [visit.task.standing.slot for visit in plan(tasks, Walk(True), near, 1)] == [2]
    assert len(plan(tasks, Walk(True), near, 9)) == 2


def test_entropy() -> None:
    """Shannon 1948, figure 7: 1 bit at even odds, none where it is certain; by his formula 0.469 bits at 1 in 10."""
    assert entropy(0.5) == 1.0
    assert entropy(0.0) == entropy(1.0) == 0.0
    assert entropy(0.1) == pytest.approx(0.469, abs=5e-4)


def test_the_rule_of_succession() -> None:
    """Laplace 1814: after s of n, the next is (s + 1) / (n + 2)."""
    found = standings(QUAY, [])
    assert agreeing(found) == 0.5
    found = standings(QUAY, [attempt(101, AGREES), attempt(42, AGREES), attempt(25, DIFFERS)])
    assert agreeing(found) == 3 / 5


def why(*attempts: object, details: Details | None = None, slot: int = 101) -> list[tuple[str, float]]:
    """What is said of a slot, and the bits."""
    found = standings(QUAY, attempts)  # type: ignore[arg-type]
    deciding = next(one.deciding for one in found if one.slot == slot)
    told = {deciding.id: details} if deciding and details else {}
    return [
        (one.worth.why, one.worth.bits)
        for one in wanted(found, told, lambda *_: START)
        if one.standing.slot == slot
    ]


def test_what_is_still_worth_a_try() -> None:
    sure = attempt(verdict=AGREES, evidence=64.0)
    assert why(sure) == []
    assert why(slot=25) == [("untried", 1.0)]
    assert why(attempt(verdict=AGREES, command="count")) == [("only its rate was counted", entropy(2 / 3))]
    assert why(attempt(verdict=AGREES, evidence=10.0)) == [("agrees on weak evidence", entropy(2.0**-10))]
    once = attempt(verdict=DIFFERS, evidence=-30.0)
    assert why(once) == [("differs once: a slip, or a fault?", 1.0)]
    assert why(once, attempt(verdict=DIFFERS, evidence=-31.0)) == []
    assert why(attempt(verdict=INCONCLUSIVE)) == [("inconclusive", 1.0)]
    assert why(attempt(verdict=AGREES, who="Ann"), attempt(verdict=DIFFERS, who="Bo")) == [
        ("Ann and Bo contradict each other", 1.0)
    ]


@pytest.mark.parametrize(
    ("shares", "bits"),
    # Alone it is a group in which the recording cannot tell one from another.
    [((0.6, 0.2, 0.2), 0.8 * entropy(0.75)), ((0.9,), 0.9)],
)
def test_the_experiment_that_parts_two_causes(shares: tuple[float, ...], bits: float) -> None:
    groups = [{"share": share, "causes": []} for share in shares]
    causes = {"groups": groups, "experiment": {"do": ["restart", "steps 3"], "said": "look at o4"}}
    details = Details({"causes": causes})
    found = standings(QUAY, [attempt(verdict=DIFFERS), attempt(verdict=DIFFERS)])
    deciding = next(one.deciding for one in found if one.slot == 101)
    assert deciding is not None
    (task,) = [
        one for one in wanted(found, {deciding.id: details}, lambda *_: START) if one.standing.slot == 101
    ]
    assert task.worth.experiment == ("restart", "steps 3")
    assert task.worth.means == "look at o4"
    assert task.worth.bits == pytest.approx(bits)


def test_what_a_recording_that_agrees_would_not_have_shown() -> None:
    """By Bayes: of two slots in three that agree, and a recording that shows four faults in five, 1 in 11 is faulty."""
    sure = attempt(verdict=AGREES, evidence=64.0)
    ((said, bits),) = why(sure, details=Details({"proves": {"share": 0.8}}))
    assert said == "agrees, and would have shown 80% of all faults"
    assert bits == pytest.approx(entropy(1 / 11))
    assert why(sure, details=Details({"proves": {"share": 0.97}})) == []


def test_a_cause_without_an_experiment_says_what_to_look_at_first() -> None:
    causes = {
        "groups": [{"share": 1.0, "causes": [{"said": "o4 is stuck.", "remedy": "Move the clip of o4."}]}]
    }
    found = standings(QUAY, [attempt(verdict=DIFFERS)])
    deciding = next(one.deciding for one in found if one.slot == 101)
    assert deciding is not None
    tasks = wanted(found, {deciding.id: Details({"causes": causes})}, lambda *_: START)
    assert [one.worth.means for one in tasks if one.standing.slot == 101] == ["Move the clip of o4."]


@pytest.mark.parametrize(
    "causes", [None, 7, [], {"groups": 1, "experiment": 2}, {"groups": [{"share": "x"}], "experiment": {}}]
)
def test_causes_that_somebody_has_garbled(causes: object) -> None:
    assert why(attempt(verdict=DIFFERS), details=Details({"causes": causes}))[0][0].startswith("differs once")


@pytest.mark.parametrize("name", ["quay", "mole"])
def test_set_ups_are_those_that_a_slot_is_brought_up_with(name: str) -> None:
    board = load_board(name)
    setups = Setups(board)
    for slot in sorted(board.slots)[::5]:
        sheet = find(board, str(slot)).datasheet
        setup = setups.of(slot, sheet)
        if setup.code is not None:
            assert setup.code == strap_code(board, sheet)
        run = usual_run(sheet)
        assert run is None or run.name in {one.name for one in sheet.runs}


def test_nothing_is_planned_for_what_cannot_be_brought_up() -> None:
    assert wanted(standings(QUAY, []), {}, lambda *_: None) == []
