"""Lessons on paper, for a class without screens; and how far somebody is, for a teacher."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from forelight.sim.errors import UsageError
from forelight.sim.files import write_whole

from ..keeping import folder
from .reader import Lesson

_WIDTH = 78


def handout(lesson: Lesson) -> Iterator[str]:
    """One lesson as lines of text: what it is about, each task with room for what was done and seen, the question."""
    yield f"Lesson {lesson.number}: {lesson.title}"
    yield f"Design: {lesson.design}, on the board {lesson.board}.   Name: ______________________"
    yield ""
    yield from _filled(lesson.about)
    for number, task in enumerate(lesson.tasks, 1):
        yield ""
        yield from _filled(f"[ ] {'Question' if task.question else number}. {task.do}", "    ")
        if not task.question:
            yield from _filled(task.why, "    ", "    ")
        yield "    What I did: ______________________   What I saw: ______________________"


def answers(lesson: Lesson) -> Iterator[str]:
    """The shortest way through a lesson, for the teacher."""
    yield f"Lesson {lesson.number}: {lesson.title}"
    for number, task in enumerate(lesson.tasks, 1):
        yield from _filled(f"{number}. {'; '.join(task.straight)}", "   ")


def _filled(text: str, later: str = "", first: str = "") -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=first, subsequent_indent=later)


def _file() -> Path:
    return folder() / "lessons.json"


def progress() -> dict[str, int]:
    """Title of a lesson -> how many of its tasks were done at the best try. Raises UsageError for a damaged file."""
    path = _file()
    if not path.exists():
        return {}
    try:
        found = json.loads(path.read_text("utf-8"))
        return {str(title): int(count) for title, count in found.items()}
    except (ValueError, AttributeError, TypeError) as error:
        raise UsageError(
            f"the progress cannot be read: {error}", place=str(path), remedy="delete the file to begin anew"
        ) from None


def remember(title: str, done: int) -> None:
    """Keep how many tasks of a lesson are done, if that is more than before."""
    found = progress()
    if done > found.get(title, 0):
        path = _file()
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, json.dumps({**found, title: done}, indent=2) + "\n")


def told(every: Iterable[Lesson], done: Mapping[str, int]) -> Iterator[str]:
    """How far somebody is, a line for each lesson."""
    for one in every:
        count, total = done.get(one.title, 0), len(one.tasks)
        state = "done" if count >= total else f"{count} of {total} tasks" if count else "not begun"
        yield f"{one.number:>2}  {one.title:<48}  {state}"
