"""How a slot stands after several tries by several people."""

from __future__ import annotations

from dataclasses import replace

import pytest
from forelight.harness.survey.attempt import UNTOLD, WITHDRAW, Attempt
from forelight.harness.survey.standing import (
    UNTRIED,
    contradictions,
    current,
    standing,
    standings,
    tallied,
    valid,
    withdrawn,
)
from forelight.harness.verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE

from .books import QUAY, attempt


def tries(*said: tuple[str, str | None]) -> list[Attempt]:
    """Tries of one slot in the order of their time: who, and the verdict."""
    return [
        attempt(who=who, verdict=verdict, at=f"2026-03-01T18:{n:02}:00Z")
        for n, (who, verdict) in enumerate(said)
    ]


def kind(*attempts: Attempt) -> str:
    return standing(101, "tide_gauge", attempts).kind


@pytest.mark.parametrize(
    ("said", "stands"),
    [
        ([], UNTRIED),
        ([("Ann", None)], UNTRIED),  # a card
        ([("Ann", AGREES)], AGREES),
        ([("Ann", DIFFERS), ("Ann", AGREES)], AGREES),  # a slip, put right
        ([("Ann", AGREES), ("Ann", DIFFERS)], DIFFERS),
        ([("Ann", AGREES), ("Ann", INCONCLUSIVE)], AGREES),  # what is open takes nothing away
        ([("Ann", INCONCLUSIVE), ("Bo", AGREES)], AGREES),
        ([("Ann", AGREES), ("Bo", DIFFERS)], UNTOLD),
        ([("Ann", DIFFERS), ("Bo", DIFFERS)], DIFFERS),
        ([("Ann", AGREES), ("Bo", DIFFERS), ("Bo", AGREES)], AGREES),  # Bo found a slip
        ([("Ann", UNTOLD), ("Ann", INCONCLUSIVE)], INCONCLUSIVE),
        ([("", AGREES), ("", DIFFERS)], DIFFERS),  # one notebook of somebody without a name
    ],
)
def test_the_verdicts_of_people(said: list[tuple[str, str | None]], stands: str) -> None:
    assert kind(*tries(*said)) == stands


def test_a_fault_that_one_run_shows_is_not_hidden_by_another_run() -> None:
    bad = attempt(verdict=DIFFERS, procedure="held at half tide", at="2026-03-01T18:00:00Z")
    good = attempt(verdict=AGREES, procedure="one tide", at="2026-03-01T18:05:00Z")
    assert kind(bad, good) == DIFFERS
    assert kind(bad, replace(good, procedure=bad.procedure)) == AGREES
    assert kind(bad, replace(good, procedure=bad.procedure, inputs=1)) == DIFFERS, "with other inputs held"


def test_people_without_a_name_are_told_apart_by_their_notebooks() -> None:
    one, other = (attempt(verdict=said, notebook=book) for said, book in ((AGREES, "a"), (DIFFERS, "b")))
    assert kind(one, other) == UNTOLD
    assert contradictions(current([one, other])) == [(one, other)]


def test_only_what_answers_the_same_question_contradicts() -> None:
    one = attempt(verdict=AGREES, who="Ann")
    assert not contradictions(current([one, attempt(verdict=DIFFERS, who="Bo", procedure="one tide")]))
    assert not contradictions(current([one, attempt(verdict=DIFFERS, who="Bo", command="count")]))


def test_what_is_judged_anew_takes_the_place_of_the_first_verdict() -> None:
    first = attempt(verdict=DIFFERS, who="Ann", at="2026-03-01T18:00:00Z")
    later = attempt(verdict=AGREES, who="Bo", at="2026-03-02T18:00:00Z")
    again = replace(first, id="again", again_of=first.id, verdict=AGREES, at="2026-03-03T18:00:00Z")
    assert kind(first, later) == UNTOLD
    assert kind(first, later, again) == AGREES
    assert valid([first, later, again]) == [later, again]
    twice = replace(again, id="twice", verdict=DIFFERS, at="2026-03-04T18:00:00Z")
    assert valid([first, again, twice]) == [twice]


def test_the_whole_chip() -> None:
    found = standings(QUAY, [attempt(), attempt(42, DIFFERS), attempt(7, AGREES)])
    assert [(one.slot, one.design, one.kind) for one in found] == [
        (25, "tide_clock", UNTRIED),
        (42, "lamp_dimmer", DIFFERS),
        (101, "tide_gauge", AGREES),
        (None, "elsewhere", AGREES),  # slot 7 of another roster
    ]
    assert tallied(found) == {DIFFERS: 1, UNTOLD: 0, INCONCLUSIVE: 0, UNTRIED: 1, AGREES: 2}


def withdrawal(of: Attempt, minute: int) -> Attempt:
    return attempt(verdict=None, command=WITHDRAW, again_of=of.id, at=f"2026-03-01T19:{minute:02}:00Z")


def test_what_is_withdrawn_does_not_count() -> None:
    one, other = tries(("Ann", AGREES), ("Ann", DIFFERS))
    taken_back = withdrawal(other, 1)
    assert kind(one, other) == DIFFERS
    assert kind(one, other, taken_back) == AGREES
    assert standing(101, "tide_gauge", [one, other, taken_back]).tries == 1
    assert kind(one, other, taken_back, withdrawal(taken_back, 2)) == DIFFERS
    assert withdrawn([one, other, taken_back, withdrawal(taken_back, 2)]) == {taken_back.id}
    assert kind(one, taken_back) == AGREES, "of a try that is in another notebook"


def test_what_is_withdrawn_is_no_more_judged_anew() -> None:
    (one,) = tries(("Ann", DIFFERS))
    anew = replace(one, id="anew", verdict=AGREES, again_of=one.id, at="2026-03-01T18:30:00Z")
    assert kind(one, anew) == AGREES
    assert kind(one, anew, withdrawal(one, 1)) == UNTRIED
    assert kind(one, anew, withdrawal(anew, 1)) == DIFFERS, "what was said before stands again"


def test_a_card_that_is_withdrawn_is_not_counted() -> None:
    card = attempt(verdict=None, command="card", at="2026-03-01T18:30:00Z")
    assert standing(101, "tide_gauge", [card]).cards == 1
    assert standing(101, "tide_gauge", [card, withdrawal(card, 1)]).cards == 0
