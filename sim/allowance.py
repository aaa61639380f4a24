"""Bounds of processor time and memory, as the environment states them, and how much of them is left."""

from __future__ import annotations

import os
import time
from pathlib import Path

from .errors import UsageError

#: What the bounds are if the environment says nothing else: seconds of processor time, and MiB.
SECONDS, MIB = 600, 4096
SECONDS_VARIABLE, MIB_VARIABLE = "FORELIGHT_SECONDS", "FORELIGHT_MIB"


class Spent:
    """What counts against the bounds."""

    #: Whether the time of this process counts, which in a program of somebody else's it does not.
    counted = False
    #: Seconds of processor time of child processes that have ended.
    of_children = 0.0


def most_seconds() -> int:
    """Raises UsageError for a bound that is no number."""
    return _stated(SECONDS_VARIABLE, SECONDS)


def most_bytes() -> int:
    """Raises UsageError for a bound that is no number."""
    return _stated(MIB_VARIABLE, MIB) * 2**20


def spent() -> float:
    """Seconds of processor time that this process and its children have taken, of those that count."""
    return time.process_time() + Spent.of_children if Spent.counted else 0.0


def seconds_left() -> int:
    """What a child process may take, a second at least."""
    return max(1, most_seconds() - int(spent()))


def bytes_left() -> int:
    """What a child process may take beside this one: a sixteenth of the bound at least."""
    most = most_bytes()
    return max(most - resident(), most // 16)


def resident() -> int:
    """Bytes of memory that this process holds; 0 where the system does not say."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, AttributeError):
        return 0


def _stated(variable: str, default: int) -> int:
    text = os.environ.get(variable) or str(default)
    if not text.isdecimal() or not 0 < int(text) < 10**9:
        raise UsageError(f"{variable} is {text!r}", remedy="give a whole number above 0")
    return int(text)
