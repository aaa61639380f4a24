"""Every lesson is played three ways: straight, with wrong moves, and at random.

`python -m tests.harness.panel.test_lessons 2000` plays each lesson for so many actions at random.
"""

from __future__ import annotations

import random
from collections import Counter

import pytest
from forelight.designs.procedures.procedure import to_text
from forelight.harness.panel.lessons.checks import CHECKS
from forelight.harness.panel.lessons.play import LessonSession
from forelight.harness.panel.lessons.reader import Lesson, LessonTask, lesson, lessons

from .lesson_judge import LessonJudge

SEED = 20_28
NUMBERS = range(1, 16)
#: Moves that hardly any task wants: what cannot be done, lines that mean nothing, too much and too little.
WRONG = (
    *("set i5=1", "press i3", "release i0", "let go i2", "select 1", "strap 999", "oscillator off", "pulse 2"),
    *("set i4=1", "restart 3", "frames 5", "wait 30 ms", "drive i5=1", "steps 2", "select 500", "fly", "set i9=1"),
    *("press i0", "enable", "disable", "strap 90", "set i7=1", "set i3=0", "undo", "let", "repeat 2 (wait 1 ms)"),
    *("drive i4=0", "steps 0", "press i5 bouncing", "edit 40 restart"),
)  # fmt: skip


def straight(session: LessonSession, tasks: int | None = None) -> None:
    for task in session.lesson.tasks[session.at : tasks]:
        for text in task.straight:
            told = session.say(text)
            assert not told.refused, told


def judge(session: LessonSession) -> LessonJudge:
    return LessonJudge(session.lesson, session.board, session.slot)


def test_there_are_fifteen_and_each_is_whole() -> None:
    assert [one.number for one in lessons()] == list(NUMBERS)
    for one in lessons():
        assert len(one.tasks) >= 3 and [task.question for task in one.tasks].index(True) == len(one.tasks) - 1
        assert all(set(task.until) <= set(CHECKS) for task in one.tasks)


@pytest.mark.parametrize("number", NUMBERS)
def test_the_straight_path(number: int) -> None:
    session = LessonSession(lesson(number))
    looks = judge(session)
    for count, task in enumerate(session.lesson.tasks):
        begun = len(session.bench.actions)
        for text in task.straight:
            assert session.at == count, f"task {count + 1} was done before {text}"
            told = session.say(text)
            assert not told.refused, told
        assert session.at == count + 1, told.lines
        assert "Done." in " ".join(told.lines)
        wrong = looks.reached(task.until, session.bench.actions, begun, session.notes, last_blamed(task))
        assert not wrong, f"task {count + 1}: {wrong}"


def last_blamed(task: LessonTask) -> str:
    blamed = [text.removeprefix("blame ") for text in task.straight if text.startswith("blame ")]
    return blamed[-1] if blamed else ""


@pytest.mark.parametrize("number", NUMBERS)
def test_twenty_wrong_moves_are_noticed_in_words_that_name_them(number: int) -> None:
    session = LessonSession(lesson(number))
    straight(session, len(session.lesson.tasks) // 2)
    noticed = 0
    for text in WRONG:
        at, told = session.at, session.say(text)
        if session.at != at:  # just what was wanted: begin the lesson there again
            session.say("over")
            straight(session, len(session.lesson.tasks) // 2)
            continue
        name = to_text(told.action) if told.action else text
        said = [line for line in told.lines if line.startswith(f"{name}: ")]
        assert said, (text, told.lines)
        assert told.lines[-1].startswith("Still to come: "), told.lines
        noticed += 1
        session.say("again")
    assert noticed >= 20


def storm(one: Lesson, count: int) -> Counter[str]:
    """So many moves at random, some of them right; every task that is done is judged from the list alone."""
    rng = random.Random(f"{SEED}/{one.number}")
    session = LessonSession(one)
    looks, total = judge(session), Counter[str]()
    right = [text for task in one.tasks for text in task.straight]
    asked = (
        "hint",
        "task",
        "again",
        "over",
        "undo",
        "notes",
        "verdict",
        "foretold",
        "look",
        "list",
        "replay",
    )
    blamed, waiting = "", list[str]()
    for _ in range(count):
        chance = rng.random()
        task = session.task
        if task is None:
            session = LessonSession(one)
            total["lessons"] += 1
            continue
        if (
            chance > 0.96 and not waiting
        ):  # all of what is right in a row, without which the long tasks would never be done
            tasks = one.tasks[: rng.randint(1, len(one.tasks))]
            waiting = ["over", *(text for each in tasks for text in each.straight)]
        choices = (
            task.straight if chance < 0.35 else right if chance < 0.5 else asked if chance < 0.7 else WRONG
        )
        text = waiting.pop(0) if waiting else rng.choice(choices)
        if text.startswith("blame "):
            blamed = text.removeprefix("blame ")
        at, begun = session.at, session.begun
        told = session.say(text)
        assert told.lines or told.refused, text
        total["moves"] += 1
        total["refused"] += bool(told.refused)
        if session.at > at:
            total["tasks"] += 1
            notes = session.notes[begun[3] :] if "notes" in task.until else session.notes
            wrong = looks.reached(task.until, session.bench.actions, begun[0], notes, blamed)
            said = [to_text(action) for action in session.bench.actions]
            assert not wrong, f"seed {SEED}, lesson {one.number}, task {at + 1}: {wrong} after {said}"
    session.say("over")
    straight(session)
    assert session.task is None, f"seed {SEED}, lesson {one.number}: stuck"
    return total


@pytest.mark.parametrize("number", [1, 10])
def test_at_random(number: int) -> None:
    total = storm(lesson(number), 30)
    print(f"seed {SEED}: {dict(total)}")
    assert total["moves"] > 20


@pytest.mark.slow
@pytest.mark.parametrize("number", NUMBERS)
def test_at_random_for_hundreds_of_actions(number: int) -> None:
    total = storm(lesson(number), 400)
    print(f"seed {SEED}: {dict(total)}")
    assert total["moves"] > 300 and total["tasks"] >= 3 and total["refused"] > 20


if __name__ == "__main__":
    import sys

    for played in NUMBERS:
        print(f"lesson {played}, seed {SEED}: {dict(storm(lesson(played), int(sys.argv[1])))}", flush=True)
