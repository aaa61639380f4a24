"""The entry point: what interrupts the program while it is being loaded ends it without a word."""

from __future__ import annotations

import gc
import signal

#: Objects after which Python looks for circles of garbage; with its own 700 it looks through what is being loaded
#: thirty times, a twentieth of a short command.
YOUNG = 200_000


def main() -> None:
    """Run the command line."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # until `end_in_order` takes it up
    gc.set_threshold(YOUNG)
    from .cli import main as command_line

    command_line()
