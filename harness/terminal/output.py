"""Where answers go: text, JSON and progress, on any terminal, pipe or encoding.

Names and texts that strangers wrote reach a person in many answers. All words leave through here, and `clean` takes out
of them what could command a terminal, hide, or turn the order of reading.
"""

from __future__ import annotations

import errno
import io
import os
import sys
import textwrap
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, Any

from forelight.sim.errors import UsageError
from forelight.sim.plain_text import clean

from ..limits import silenced
from . import answers

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.progress import Progress


#: Characters of an error: more is nobody's sentence.
LONGEST = 800


class Speech:
    """What is said: `hear` is told it, and by which way of `say` it goes, where there is somebody who wants that."""

    hear: Callable[[str, str | bytes], None] | None = None

    def tell(self, way: str, what: str | bytes) -> None:
        if self.hear:
            self.hear(way, what)


SPEECH = Speech()


def lenient_streams() -> None:
    """A character that the terminal's encoding lacks is printed as `?`; it is no reason to fail."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def emit(text: str) -> None:
    """Write words to standard output."""
    _write(clean(text))


def _write(text: str) -> None:
    """Write as it is."""
    SPEECH.tell("text", text)
    with _told():
        raw = _unbuffered()
        if raw is None:
            sys.stdout.write(text)
            sys.stdout.flush()
        else:
            _every_byte(raw, text.replace("\n", os.linesep).encode(sys.stdout.encoding, "replace"))


@contextmanager
def _told() -> Iterator[None]:
    """A reader who has seen enough (`| head`) is no fault: the rest is dropped. What else goes wrong is an error."""
    try:
        yield
    except BrokenPipeError:
        drop_output()
    except OSError as error:
        raise output_error(error) from None


def output_error(error: OSError) -> UsageError:
    """What to tell of an answer that could not be written; nothing more is tried."""
    drop_output()
    closed = error.errno == errno.EBADF
    reason = "is closed" if closed else f"cannot be written: {(error.strerror or str(error)).lower()}"
    return UsageError(reason, place="standard output", remedy="send the answer to a place that takes it")


def _unbuffered() -> io.RawIOBase | None:
    """The stream below standard output if there is no buffer in between, which may take a part and say nothing."""
    below = getattr(sys.stdout, "buffer", None)
    return below if isinstance(below, io.RawIOBase) else None


def _every_byte(stream: io.RawIOBase, data: bytes) -> None:
    left = memoryview(data)
    while left:
        left = left[stream.write(left) or 0 :]


def emit_words(text: str) -> None:
    """A paragraph, at the width of the terminal, without loading what draws."""
    emit(_filled(text))


def warn(text: str) -> None:
    """A paragraph on standard error, where standard output is for data."""
    _say(clean(_filled(text)))


def complain(text: str) -> None:
    """On standard error: on a terminal broken between words, elsewhere one line, for those who search it."""
    text = clean(text)
    if len(text) > LONGEST:
        text = f"{text[: LONGEST * 2 // 3]} ... {text[-LONGEST // 3 :]}"
    if sys.stderr.isatty():
        text = "".join(_filled(line) for line in text.split("\n")).removesuffix("\n")
    _say(text + "\n")


def _say(text: str) -> None:
    """On standard error; where that takes nothing there is nobody to tell."""
    SPEECH.tell("aside", text)
    with suppress(OSError, ValueError):
        sys.stderr.write(text)
        sys.stderr.flush()


def say(way: str, what: Any) -> None:
    """Say again what was told to `Speech.hear`."""
    ways: dict[str, Callable[[Any], None]] = {"text": _write, "aside": _say, "bytes": emit_bytes}
    ways[way](what)


def _filled(text: str) -> str:
    import shutil

    width = shutil.get_terminal_size().columns
    return textwrap.fill(text, width, break_long_words=False, break_on_hyphens=False) + "\n"


def emit_bytes(data: bytes) -> None:
    """The same for bytes, as they are."""
    SPEECH.tell("bytes", data)
    with _told():
        raw = _unbuffered()
        if raw is None:
            sys.stdout.flush()
            sys.stdout.buffer.write(data)
            sys.stdout.buffer.flush()
        else:
            _every_byte(raw, data)


def drop_output() -> None:
    """Send what is still to come nowhere, so that Python's last flush stays quiet too."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def open_streams() -> None:
    """What was closed when the command began is taken up, so that no file comes to stand in its place.

    Whatever is written to a standard output that was closed fails, as it must.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            with suppress(OSError):
                os.fstat(number)  # closed for Python alone
                continue
            way = {"stdout": os.O_RDONLY}.get(name, os.O_RDWR)
            if os.open(os.devnull, way) == number:
                setattr(sys, name, os.fdopen(number, "w" if number else "r", encoding="utf-8", closefd=False))


def emit_json(answer: Any) -> None:
    """The answer for scripts, in ASCII, so that any encoding carries it; `answers.py` has its keys."""
    import json

    emit(json.dumps(answers.versioned(answer), indent=2, allow_nan=False) + "\n")


def console(*, stderr: bool = False, width: int | None = None) -> Console:
    """A console that prints words as they are: no markup, no guessed colours, and clean.

    With a `width` it is for a file: no colours at all, whatever the terminal.
    """
    from rich.console import Console, ConsoleOptions
    from rich.segment import Segment

    class Clean(Console):
        def render(
            self, renderable: RenderableType, options: ConsoleOptions | None = None
        ) -> Iterable[Segment]:
            for segment in super().render(renderable, options):
                text = segment.text if segment.control else clean(segment.text)
                yield Segment(text, segment.style, segment.control)

    plain = {} if width is None else {"width": width, "color_system": None, "force_terminal": False}
    return Clean(stderr=stderr, markup=False, highlight=False, emoji=False, **plain)  # type: ignore[arg-type]


def show(*parts: RenderableType) -> None:
    """Print paragraphs, drawings and tables at the width of the terminal."""
    _write(_laid_out(console(), parts))  # with styles of our own


def as_text(parts: Iterable[RenderableType], width: int) -> str:
    """The same as plain text of so many columns, for a file."""
    return _laid_out(console(width=width), parts)


def _laid_out(screen: Console, parts: Iterable[RenderableType]) -> str:
    laid = [_hanging(part) if isinstance(part, str) and part.startswith(" ") else part for part in parts]
    with screen.capture() as captured:
        if laid:  # Rich prints an empty line for nothing
            screen.print(*laid, sep="\n")
    return "".join(line.rstrip() + "\n" for line in captured.get().splitlines())


def _hanging(line: str) -> RenderableType:
    """A line that keeps its indent where it is too long for the screen."""
    from rich.padding import Padding
    from rich.text import Text

    text = line.lstrip(" ")
    return Padding(Text(text), (0, 0, 0, len(line) - len(text))) if "\n" not in line and text else line


#: Work that is done sooner than this gets no progress bar.
PATIENCE_S = 0.5


class _Bars:
    """Whether somebody else shows how far the work is: an outer piece of work, or the process that started this one."""

    drawn_by_others = False

    @classmethod
    def allow(cls) -> None:
        cls.drawn_by_others = False


def no_bars() -> None:
    """From here on this process draws no bars: another one does."""
    _Bars.drawn_by_others = True


@contextmanager
def progress(task: str) -> Iterator[Callable[[int, int], None]]:
    """Yields `advance(done, total)`, which draws a bar on standard error where that is a terminal.

    Work within other work draws none of its own.
    """
    if not sys.stderr.isatty() or _Bars.drawn_by_others:
        yield lambda done, total: None
        return
    begun = time.monotonic()
    with ExitStack() as stack:
        _Bars.drawn_by_others = True
        stack.callback(_Bars.allow)
        bar: Progress | None = None

        def advance(done: int, total: int) -> None:
            nonlocal bar
            if bar is None and time.monotonic() - begun > PATIENCE_S:
                from rich.progress import Progress

                stack.enter_context(silenced())
                bar = stack.enter_context(Progress(console=console(stderr=True), transient=True))
                bar.add_task(task, total=total)
            if bar is not None:
                bar.update(bar.task_ids[0], completed=done, total=total)

        yield advance
