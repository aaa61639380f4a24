"""A lesson: a TOML file to a frozen record, each key checked where it is read.

title = "One step by hand"
design = "tide_gauge"
board = "quay"
about = "what it is about, in a few sentences"
begin = ["disable"]              # actions after the slot was brought up, that cannot be taken back
blind = true                     # the panel shows the switches as they stand, not what reaches the chip
[planted]                        # what is wrong with this bench
open = "i2"                      # a switch that makes no contact ...
stuck = { o6 = 0 }               # ... or an output of the chip that never moves
[[task]]
do = "what to do"
why = "and why"
hint = "how, when somebody asks"
until = { shows = "1.", clock = "off" }   # all must hold; `checks.py` has the names
straight = ["restart", "pulse 1"]         # the shortest way, for the tests
question = true                  # the last one: asked without saying how
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from functools import cache
from pathlib import Path

from forelight.designs.procedures.procedure import Action
from forelight.designs.procedures.text import parse
from forelight.designs.toml_file import Section, read_toml
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from .checks import CHECKS

_HERE = Path(__file__).parent
_KEYS = ("title", "design", "board", "about", "begin", "blind", "planted", "task")


@frozen
class LessonTask:
    """One thing to do; it is done when every check of `until` (name -> what is wanted) holds."""

    do: str
    why: str
    hint: str
    until: Mapping[str, object]
    straight: tuple[str, ...]
    question: bool = False


@frozen
class Lesson:
    """Some five minutes on one design of the catalogue; `number` counts from 1 in the order of the files."""

    number: int
    title: str
    design: str
    board: str
    about: str
    begin: tuple[Action, ...]
    tasks: tuple[LessonTask, ...]
    blind: bool = False
    open_switch: str | None = None
    stuck: Mapping[str, int] = field(default_factory=dict)


@cache
def lessons() -> tuple[Lesson, ...]:
    """All that there are, in their order."""
    return tuple(read_lesson(path, number) for number, path in enumerate(sorted(_HERE.glob("*.toml")), 1))


def lesson(number: int) -> Lesson:
    """The lesson with this number. Raises UsageError where there is none."""
    known = lessons()
    if not 1 <= number <= len(known):
        raise UsageError(f"there is no lesson {number}", remedy=f"the lessons are 1 to {len(known)}")
    return known[number - 1]


def read_lesson(path: Path, number: int) -> Lesson:
    """Raises a DatasheetError that names file, line and key where something is wrong with it."""
    top = read_toml(path)
    top.only(*_KEYS)
    begin = parse(top.texts("begin"), top.text_places("begin")) if "begin" in top.table else ()
    planted = top.section("planted")
    stuck: dict[str, int] = {}
    if planted is not None:
        planted.only("open", "stuck")
        levels = planted.section("stuck")
        stuck = {line: levels.integer(line, 0, 1) for line in levels.table} if levels else {}
    return Lesson(
        number,
        top.text("title"),
        top.text("design"),
        top.choice("board", ("quay", "mole"), "quay"),
        top.text("about", longest=2000),
        begin,
        tuple(_task(section) for section in top.sections("task")),
        bool(top.table.get("blind", False)),
        planted.text("open") if planted is not None and "open" in planted.table else None,
        stuck,
    )


def _task(section: Section) -> LessonTask:
    section.only("do", "why", "hint", "until", "straight", "question")
    until = section.section("until")
    if until is None:
        raise section.absent("until", "a table of checks")
    until.only(*CHECKS)
    return LessonTask(
        section.text("do", longest=600),
        section.text("why", longest=1000),
        section.text("hint", longest=600),
        dict(until.table),
        section.texts("straight"),
        bool(section.table.get("question", False)),
    )
