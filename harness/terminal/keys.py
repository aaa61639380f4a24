"""Single keys from a terminal, as they are pressed, without waiting for a line."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from .output import SPEECH

#: What terminals send for keys that have names (ECMA-48 control sequences, in both modes of the cursor keys).
NAMES = {
    b"\x1b[C": "right",
    b"\x1bOC": "right",
    b"\x1b[D": "left",
    b"\x1bOD": "left",
    b"\x1b[H": "home",
    b"\x1b[F": "end",
    b" ": "space",
}
#: A lone escape is no beginning of a name if nothing follows within this.
_PATIENCE_S = 0.02


@contextmanager
def keys() -> Iterator[Callable[[float], str | None]]:
    """Yields `wait(seconds)`, which gives the next key, or None after that time.

    Where standard input is no terminal, or has no such mode, there are no keys, and `wait` only waits.
    """
    SPEECH.tell("keys", "")  # what goes by keys is more than words
    try:
        import termios
        import tty

        where = sys.stdin.fileno()
        before = termios.tcgetattr(where)
    except (ImportError, OSError, ValueError):
        yield _nothing
        return
    except termios.error:
        yield _nothing
        return
    tty.setcbreak(where, termios.TCSADRAIN)
    try:
        yield lambda seconds: _key(where, seconds)
    finally:
        termios.tcsetattr(where, termios.TCSADRAIN, before)


def _nothing(seconds: float) -> str | None:
    import time

    time.sleep(max(0.0, seconds))
    return None


def _key(where: int, seconds: float) -> str | None:
    if not select.select([where], [], [], max(0.0, seconds))[0]:
        return None
    found = os.read(where, 1)
    while found.startswith(b"\x1b") and len(found) < 3 and select.select([where], [], [], _PATIENCE_S)[0]:
        found += os.read(where, 1)
    return NAMES.get(found, found.decode("ascii", "ignore").lower())
