"""How a command ends: its exit code, and what a person sees when something goes wrong."""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextvars import copy_context
from functools import partial
from io import StringIO
from pathlib import Path
from types import FrameType
from typing import Any

import click
from forelight.sim.files import INPUTS, UNFINISHED

#: Exit codes beside those that `check` gives.
DONE, WRONG_USE, FAULT, INTERRUPTED = 0, 2, 4, 130
#: Those that end a command, each with 128 and its number as the exit code: 130 for SIGINT.
SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")
#: How long the main thread may take to end the program itself.
_GRACE_S = 1.0
#: Click lays help out for this many columns at least, unless it is told otherwise.
NARROW = 52
#: Names the file for the traceback of a fault of Forelight itself.
TRACEBACK_VARIABLE = "FORELIGHT_TRACEBACK"
FAULT_TEXT = (
    "Forelight has failed: this is a fault of the program, not of what you asked. Please report it to those who "
    "keep your copy of Forelight, with the command as you typed it and the files that it reads. {where} "
    "({kind}: {said})"
)


class Commands(click.Group):
    """A group whose commands return their exit code, and which shows each error as one message."""

    def main(self, *args: Any, **options: Any) -> Any:
        from .terminal.output import complain, drop_output, lenient_streams, open_streams, output_error

        open_streams()
        lenient_streams()
        options["standalone_mode"] = False
        columns = _columns()
        if columns < NARROW:
            options.setdefault("terminal_width", columns - 1)
        run: Callable[..., Any] = super().main
        watched = options.pop("watched", False)
        try:
            if watched:
                from forelight.sim.disk_cache import Door

                from .limits import watch

                end_in_order()
                INPUTS.minded = Door.open = True
                watch()
            # In a context of its own: what a command was trusted with ends with it.
            code = copy_context().run(run, *args, **options) or DONE
        except click.ClickException as error:
            said = StringIO()
            error.show(said)
            complain(said.getvalue().rstrip("\n"))
            code = WRONG_USE
            _as_json(options.get("args") or args, code, error.format_message())
        except (click.Abort, KeyboardInterrupt):
            code = INTERRUPTED
        except SystemExit:  # click's answer to a reader who has closed the pipe: no fault, and not "differs"
            drop_output()
            code = DONE
        except OSError as error:
            # Help and the like are written by others; what is written to a file names it.
            about_output = error.filename is None and error.errno in (errno.ENOSPC, errno.EBADF, errno.EIO)
            code = explain(output_error(error) if about_output else error)
        except Exception as error:  # whatever is left is our own fault, unless it is an error with a remedy
            code = explain(error)
            _as_json(options.get("args") or args, code, getattr(error, "what", str(error)), error)
        sys.exit(code)


def end_in_order() -> None:
    """From here on this program leaves nothing half done behind when it is interrupted, ended or hung up on."""
    for name in SIGNALS:
        number = getattr(signal, name, None)
        # What whoever started this wants it to overlook (nohup) is overlooked.
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _end)
    if sys.platform != "win32":
        told, tell = os.pipe()
        os.set_blocking(tell, False)
        signal.set_wakeup_fd(tell, warn_on_full_buffer=False)
        threading.Thread(target=_end_aside, args=(told,), daemon=True).start()


def _end_aside(told: int) -> None:
    """End a program whose main thread does not hear that it should, since it is in one long call of native code."""
    while number := os.read(told, 1)[0]:
        if signal.getsignal(number) is _end:
            time.sleep(_GRACE_S)
            _end(number, None)


def _end(number: int, frame: FrameType | None = None) -> None:
    """Remove what is unfinished, and end at once: an exception on its way up could be caught by anybody."""
    if UNFINISHED.later(partial(_end, number)):
        return
    if threading.current_thread() is threading.main_thread():  # no other may set them
        for name in SIGNALS:
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), signal.SIG_IGN)
    UNFINISHED.remove()
    if "multiprocessing" in sys.modules:  # else there are none
        for child in sys.modules["multiprocessing"].active_children():
            child.terminate()
    if sys.stderr.isatty():
        os.write(2, b"\r\x1b[K\x1b[?25h")  # the progress bar goes, and the cursor is seen again
    os._exit(128 + number)


def _columns() -> int:
    """What `shutil.get_terminal_size` says, which takes 2 ms to load."""
    stated = os.environ.get("COLUMNS", "")
    if stated.isdecimal() and int(stated):
        return int(stated)
    try:
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or 80  # type: ignore[union-attr]
    except (AttributeError, OSError, ValueError):  # none, closed, or a file
        return 80


def _as_json(args: Any, code: int, what: str, error: Exception | None = None) -> None:
    """The error for scripts too, on standard output, where JSON was asked for."""
    given = args[0] if args and isinstance(args[0], list | tuple) else args
    if "--json" not in (given or sys.argv[1:]):
        return
    from .terminal.output import emit_json

    place, remedy = (getattr(error, key, "") for key in ("place", "remedy"))
    emit_json({"error": {"what": what, "place": place, "remedy": remedy, "exit_code": code}})


def explain(error: Exception) -> int:
    """Say what went wrong on standard error; returns the exit code."""
    from forelight.sim.errors import ForelightError

    from .terminal.output import complain

    if isinstance(error, MemoryError):
        from .limits import out_of_memory

        error = out_of_memory()
    if isinstance(error, ForelightError):
        complain(f"forelight: {error}")
        return error.exit_code
    kept = os.environ.get(TRACEBACK_VARIABLE)
    where = f"To have the details written to a file, set {TRACEBACK_VARIABLE}=FILE and run it again."
    if kept:
        import traceback

        try:
            Path(kept).write_text("".join(traceback.format_exception(error)), encoding="utf-8")
            where = f"The details are in {kept}: send them too."
        except OSError as problem:
            where = f"The details could not be written to {kept}: {problem.strerror}."
    said = str(error).partition("\n")[0][:200]
    complain(FAULT_TEXT.format(where=where, kind=type(error).__name__, said=said))
    return FAULT
