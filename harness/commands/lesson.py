"""`forelight lesson`: the input conventions, learned by doing; on the panel, as a dialogue, or on paper."""

from __future__ import annotations

import sys

from ..limits import untimed
from ..panel.lessons.handout import answers, handout, progress, remember, told
from ..panel.lessons.play import LessonSession
from ..panel.lessons.reader import lesson, lessons
from ..panel.plain import dialogue
from ..terminal.output import emit, emit_json, emit_words
from .panel import on_screen, spoken


def run(number: int | None, *, plain: bool) -> int:
    """Play a lesson; without a number the first that is not done."""
    done = progress()
    if number is None:
        number = next((one.number for one in lessons() if done.get(one.title, 0) < len(one.tasks)), 1)
    session = LessonSession(lesson(number), keep=True)
    session.hears.append(lambda _: remember(session.lesson.title, session.at))
    if plain or not (sys.stdin.isatty() and sys.stdout.isatty()):
        for line in session.opening():
            emit_words(line)
        emit_words(
            "Say hint when you do not know how, task to hear it again, help for all else, quit to leave."
        )
        untimed()
        dialogue(session, spoken(), emit_words)
    else:
        on_screen(session)
    if session.task is None:
        emit_words(f"Lesson {number} is done.")
    return 0


def tell_progress(as_json: bool) -> int:
    """How far somebody is with all lessons."""
    done = progress()
    if as_json:
        emit_json(
            [
                {
                    "lesson": one.number,
                    "title": one.title,
                    "task_count": len(one.tasks),
                    "done": done.get(one.title, 0),
                }
                for one in lessons()
            ]
        )
    else:
        emit("\n".join(told(lessons(), done)) + "\n")
    return 0


def print_handout(number: int | None, *, with_answers: bool) -> int:
    """One lesson on paper, or all."""
    chosen = lessons() if number is None else (lesson(number),)
    pages = ["\n".join((answers if with_answers else handout)(one)) for one in chosen]
    emit("\n\n\n".join(pages) + "\n")
    return 0
