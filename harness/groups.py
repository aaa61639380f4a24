"""A group of commands in which a file may stand where the name of a command does."""

from __future__ import annotations

from pathlib import Path

import click
from click.shell_completion import CompletionItem

#: The command that a notebook alone means.
FIRST = "glance"


class Notebooks(click.Group):
    """Commands about a notebook; a notebook alone means the first of them, `glance`."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in self.commands and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = [] if Path(args[0]).exists() else get_close_matches(args[0], self.commands, 1)
            if near:
                ctx.fail(f"No such command, and no such notebook: {args[0]!r}. Did you mean {near[0]!r}?")
            args = [FIRST, *args]
        return super().resolve_command(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        return [*super().shell_complete(ctx, incomplete), CompletionItem(incomplete, type="file")]
