"""The record of bench actions: validated, printed, the same for all who use it."""

from __future__ import annotations

from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING

from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from ..toml_file import did_you_mean, quoted, read_toml
from .actions import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Play,
    Press,
    Pulse,
    Release,
    Repeat,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
)
from .text import parse, to_text

if TYPE_CHECKING:
    from ..datasheet import Datasheet

__all__ = [
    "Action",
    "Disable",
    "Drive",
    "Enable",
    "Frames",
    "LetGo",
    "Oscillator",
    "Play",
    "Press",
    "Procedure",
    "Pulse",
    "Release",
    "Repeat",
    "Restart",
    "Seconds",
    "Select",
    "Set",
    "Steps",
    "Strap",
    "load_toml",
    "of_run",
    "parse",
    "to_text",
]


@frozen
class Procedure:
    """An ordered list of bench actions with a name; the recordings that it plays lie in `folder`.

    `places` are file and line of each action, where they were read from a file.
    """

    name: str
    actions: tuple[Action, ...]
    expect: str = ""
    folder: Path = Path()
    places: tuple[str, ...] = field(default=(), compare=False)


def load_toml(path: Path) -> Procedure:
    """A procedure file: `do`, and optionally `name` and `expect`, as in a datasheet's `[[run]]`."""
    top = read_toml(path)
    top.only("name", "do", "expect")
    texts, places = top.texts("do"), top.text_places("do")
    actions = parse(texts, places)
    return Procedure(top.text("name", path.stem), actions, top.text("expect", "", 2000), path.parent, places)


def of_run(datasheet: Datasheet, name: str) -> Procedure:
    """The procedure of a datasheet that has this name."""
    for run in datasheet.runs:
        if run.name == name:
            where = run.places or f"{datasheet.name}, run {quoted(name)}"
            return Procedure(run.name, parse(run.do, where), run.expect, datasheet.folder, run.places)
    names = [run.name for run in datasheet.runs]
    known = f"its runs are {', '.join(quoted(known) for known in names)}" if names else "it has no runs"
    near = did_you_mean(name, names)
    raise UsageError(
        f"{datasheet.name} has no run {quoted(name)}", remedy=f"{near} {known}" if near else known
    )
