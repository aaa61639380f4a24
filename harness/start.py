"""The entry point: what interrupts the program while it is being loaded ends it without a word."""

from __future__ import annotations

import gc
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

    try:
        command_line()
    except SystemExit as end:
        if isinstance(end.code, int):
            _end_at_once(end.code)
        raise


def _end_at_once(code: int) -> None:
    """End without taking every module apart, as their memory goes back as a whole; not while others are at work."""
    import atexit
    import os
    import threading

    others = (one for one in threading.enumerate() if one is not threading.main_thread())
    if "multiprocessing" in sys.modules or not all(one.daemon for one in others):
        gc.freeze()  # nor need anybody look for circles in it
        return
    atexit._run_exitfuncs()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (OSError, ValueError):
        return
    os._exit(code)
