"""What a shell completes: slots and designs, boards, runs of the design that was named, and lines."""

from __future__ import annotations

import click
from click.shell_completion import CompletionItem
from click.types import StringParamType


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


class Level(StringParamType):
    """An input line and its level, such as i2=1, as a text."""

    name = "level"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        words = (f"i{bit}={level}" for bit in range(8) for level in (0, 1))
        return [CompletionItem(word) for word in words if word.startswith(incomplete)]


class Output(StringParamType):
    """An output line, or the name of a signal, as a text; lines are completed."""

    name = "output"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        lines = (f"o{bit}" for bit in range(8))
        return [CompletionItem(line) for line in lines if line.startswith(incomplete)]


class Mapped(StringParamType):
    """A line and a column of a recording, such as o0=CH3, as a text; the line is completed."""

    name = "column"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        words = ("i=", "o=", *(f"{kind}{bit}=" for kind in "io" for bit in range(8)))
        return [CompletionItem(word) for word in words if word.startswith(incomplete)]
