"""What a shell completes: slots and designs, boards, runs of the design that was named, and lines."""

from __future__ import annotations

import re
from collections.abc import Iterable

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class
from click.types import StringParamType


class Bash(BashComplete):
    """Bash takes a word as it is typed, so that what a space or a bracket would end is completed with backslashes.

    There are two of them, as click's script for bash reads a line that takes one away.
    """

    name = "bash"

    def format_completion(self, item: CompletionItem) -> str:
        word = re.sub(r"([^\w@%+=:,./~-])", r"\\\\\1", item.value, flags=re.ASCII)
        return f"{item.type},{word}"


add_completion_class(Bash)


class Slot(StringParamType):
    """A slot number, a name or a path, as a text; numbers and names of the board are completed, and paths too."""

    name = "slot"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        from .boards.reader import load_board

        slots = load_board(ctx.params.get("board") or "quay").slots
        words = {str(number): name for number, name in slots.items()} | dict.fromkeys(slots.values(), "")
        found = [
            CompletionItem(word, help=told) for word, told in words.items() if word.startswith(incomplete)
        ]
        return found or [CompletionItem(incomplete, type="file")]


class BoardName(StringParamType):
    """A board by name or path, as a text."""

    name = "board"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        from .boards.reader import board_names

        found = [CompletionItem(word) for word in board_names() if word.startswith(incomplete)]
        return found or [CompletionItem(incomplete, type="file")]


class RunName(StringParamType):
    """A run of the datasheet, as a text."""

    name = "run"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        from .boards.reader import load_board
        from .boards.roster import find

        slot = ctx.params.get("slot") or next((word for word in ctx.args if not word.startswith("-")), "")
        if not slot:
            return []
        sheet = find(load_board(ctx.params.get("board") or "quay"), slot).datasheet
        return [CompletionItem(run.name) for run in sheet.runs if run.name.startswith(incomplete)]


class Begun(StringParamType):
    """A text of any kind, of which a few beginnings are completed."""

    def __init__(self, name: str, words: Iterable[str]) -> None:
        self.name, self.words = name, tuple(words)

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        return [CompletionItem(word) for word in self.words if word.startswith(incomplete)]


#: An input line and its level; an output line, or the name of a signal; a line and a column of a recording (o0=CH3).
LEVEL = Begun("level", (f"i{bit}={level}" for bit in range(8) for level in (0, 1)))
OUTPUT = Begun("output", (f"o{bit}" for bit in range(8)))
MAPPED = Begun("column", ("i=", "o=", *(f"{kind}{bit}=" for kind in "io" for bit in range(8))))
