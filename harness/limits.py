"""Bounds of processor time and memory for all that a command does, kept by a thread that watches the process."""

from __future__ import annotations

import ctypes
import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from forelight.sim.allowance import (
    MIB_VARIABLE,
    SECONDS_VARIABLE,
    Spent,
    most_bytes,
    most_seconds,
    resident,
    spent,
)
from forelight.sim.errors import UsageError

_LOOK_S = 0.1
#: How long a command may take to end by itself once it is told to; what runs outside of Python cannot be told.
_GRACE_S = 2.0
#: Work of this length is shown on a terminal.
_PATIENCE_S = 1.0


class LimitError(UsageError):
    """A command that has used up its time or its memory."""

    def __init__(self, what: str = "") -> None:  # of another process it is made anew from its words
        super().__init__(what or _reached.what, remedy=_reached.remedy)


class _Reached:
    """What the watching thread found, for the thread that works."""

    what = "out of time"
    remedy = ""
    watching = False
    silent = False


_reached = _Reached()
_stages: list[tuple[str, float]] = []


@contextmanager
def stage(words: str) -> Iterator[None]:
    """Name the work that follows, for messages and for whoever waits."""
    _stages.append((words, time.monotonic()))
    try:
        yield
    finally:
        _stages.pop()


@contextmanager
def silenced() -> Iterator[None]:
    """While something else shows how far the work is."""
    with stage(""):
        yield


def watch(*, silent: bool = False) -> None:
    """Begin to watch this process, and to show what takes long unless it is to be silent.

    Raises UsageError for bounds in the environment that are no numbers.
    """
    _Reached.watching, _Reached.silent, Spent.counted = True, silent, True
    bounds = most_seconds(), most_bytes()
    threading.Thread(target=_look, args=(threading.get_ident(), *bounds), daemon=True).start()


def bounded() -> bool:
    """Whether this process is watched for its time as well as for its memory."""
    return _Reached.watching and Spent.counted


def untimed() -> None:
    """From here on the command goes on for as long as a person wants it; memory stays bounded."""
    Spent.counted = False


def out_of_memory() -> LimitError:
    """The error for an allocation that the system refused."""
    _tell("more memory than this process may have", "leave it more (ulimit -v)")
    return LimitError()


def _look(worker: int, seconds: int, memory: int) -> None:
    drawn = False
    while True:
        time.sleep(_LOOK_S)
        drawn = _show(drawn)
        if spent() > seconds:
            _tell(f"more than {seconds} s of processor time", f"set {SECONDS_VARIABLE} higher")
        elif resident() > memory:
            _tell(f"more than {memory >> 20} MiB of memory", f"set {MIB_VARIABLE} higher")
        else:
            continue
        ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(worker), ctypes.py_object(LimitError))
        time.sleep(_GRACE_S)
        os.write(2, f"forelight: {LimitError()}\n".encode())
        os._exit(LimitError.exit_code)


def _tell(much: str, otherwise: str) -> None:
    doing = next((words for words, _ in reversed(_stages) if words), "this command")
    _reached.what = f"{doing} takes {much}"
    _reached.remedy = f"ask for less (--seconds, --power-ups), make the design smaller, or {otherwise}"


def _show(drawn: bool) -> bool:
    """Show on a terminal what takes long, and wipe that away; returns whether it stands there."""
    try:
        words, since = _stages[-1]
    except IndexError:
        words, since = "", time.monotonic()
    passed = time.monotonic() - since
    silent = _Reached.silent or not all(words for words, _ in _stages)
    if words and passed > _PATIENCE_S and not silent and sys.stderr.isatty():
        os.write(2, f"\r{words}, {passed:.0f} s\x1b[K".encode(errors="replace"))
        return True
    if drawn:
        os.write(2, b"\r\x1b[K")
    return False
