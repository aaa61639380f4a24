"""The entry point: what interrupts the program while it is being loaded ends it without a word."""

from __future__ import annotations

import atexit
import gc
import os
import signal
import sys

#: Objects after which Python looks for circles of garbage; with its own 700 it looks through what is being loaded
#: thirty times, a twentieth of a short command.
YOUNG = 200_000


def main() -> None:
    """Run the command line."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # until `end_in_order` takes it up
    gc.set_threshold(YOUNG)
    from .cli import main as command_line

    ended: list[int] = []
    atexit.register(_end_at_once, ended)
    try:
        command_line()
    except SystemExit as end:
        if isinstance(end.code, int):
            ended.append(end.code)
        raise


def _end_at_once(ended: list[int]) -> None:
    """End without taking every module apart, as their memory goes back as a whole: the last thing that is done at exit.

    Threads have ended by now, and what was registered since has been done; of what may have been before, coverage's
    record is still to be written.
    """
    if not ended or "coverage" in sys.modules:
        return
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (OSError, ValueError):
        return
    os._exit(ended[0])
