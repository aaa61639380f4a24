"""The entry point: what interrupts the program while it is being loaded ends it without a word."""

from __future__ import annotations

import signal


def main() -> None:
    """Run the command line."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # until `end_in_order` takes it up
    from .cli import main as command_line

    command_line()
