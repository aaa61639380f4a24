"""Where answers go: text, JSON and progress, on any terminal, pipe or encoding."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console, RenderableType


def lenient_streams() -> None:
    """A character that the terminal's encoding lacks is printed as `?`; it is no reason to fail."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def emit(text: str) -> None:
    """Write to standard output. A reader who has seen enough (`| head`) is no fault: the rest is dropped."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        drop_output()


def drop_output() -> None:
    """Send what is still to come nowhere, so that Python's last flush stays quiet too."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def emit_json(answer: Any) -> None:
    """The answer for scripts, in ASCII, so that any encoding carries it."""
    emit(json.dumps(answer, indent=2, allow_nan=False) + "\n")


def console(*, stderr: bool = False) -> Console:
    """A console that prints words as they are: no markup, no guessed colours."""
    from rich.console import Console

    return Console(stderr=stderr, markup=False, highlight=False, emoji=False)


def show(*parts: RenderableType) -> None:
    """Print paragraphs, drawings and tables at the width of the terminal."""
    screen = console()
    with screen.capture() as captured:
        for part in parts:
            screen.print(part)
    lines = captured.get().splitlines()
    emit("".join(line.rstrip() + "\n" for line in lines))


@contextmanager
def progress(task: str) -> Iterator[Any]:
    """A progress bar on standard error when that is a terminal: yields `advance(done, total)`, or None."""
    screen = console(stderr=True)
    if not screen.is_terminal:
        yield None
        return
    from rich.progress import Progress

    with Progress(console=screen, transient=True) as bar:
        number = bar.add_task(task, total=None)
        yield lambda done, total: bar.update(number, completed=done, total=total)
