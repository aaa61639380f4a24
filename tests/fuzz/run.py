"""Feeds damaged files to a reader, and counts how each ends: read, refused with the project's own errors, or badly."""

from __future__ import annotations

import os
import random
import resource
import signal
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from unittest.mock import patch

from forelight.sim.allowance import MIB_VARIABLE, SECONDS_VARIABLE
from forelight.sim.errors import ForelightError

from tests.fuzz.mutation import damaged
from tests.fuzz.readers import Reader

#: What an input may cost at most.
SECONDS, BYTES = 10.0, 1 << 30
#: How many times as long an input may take by the clock where it waits for a processor that others use.
PATIENCE = 12
GOOD = ("accepted", "refused")
LATE = ("hang", f"out of {SECONDS_VARIABLE}")


class HangError(BaseException):
    """An input took too long."""


@contextmanager
def limited(seconds: float) -> Iterator[None]:
    """Within a stretch of time by the clock; what reads a source in a process of its own has no more."""

    def late(number: int, frame: FrameType | None) -> None:
        raise HangError

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        with patch.dict(os.environ, {SECONDS_VARIABLE: f"{seconds:.0f}", MIB_VARIABLE: str(BYTES >> 20)}):
            yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def limit_memory() -> None:
    """From now on this process may take so much more memory: beyond, MemoryError is raised and counted."""
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    now = pages * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (now + BYTES, resource.getrlimit(resource.RLIMIT_AS)[1]))


def ended(reader: Reader, data: bytes, folder: Path) -> str:
    """How one input ended; one that is late is read again, and may take no more of the processor."""
    path = folder / reader.file
    # Made anew: a file that is cut to nothing and written again is waited for, five times as long as it is read.
    path.unlink(missing_ok=True)
    path.write_bytes(data)
    found = _read(reader, path, SECONDS)
    if found not in LATE:
        return found
    before = sum(os.times()[:4])
    found = _read(reader, path, PATIENCE * SECONDS)
    return found if sum(os.times()[:4]) - before < SECONDS else "hang"


def _read(reader: Reader, path: Path, seconds: float) -> str:
    try:
        with limited(seconds):
            reader.read(path)
    except ForelightError as error:
        said = str(error)
        reached = next((name for name in (SECONDS_VARIABLE, MIB_VARIABLE) if name in said), "")
        if reached:
            return f"out of {reached}"
        return "refused" if said and len(said) < 4000 else f"wordy: {len(said)} characters"
    except HangError:
        return "hang"
    except Exception as error:  # what a person would see as a traceback
        places = traceback.extract_tb(error.__traceback__)
        inside = [place for place in places if "tests" not in Path(place.filename).parts]
        where = f"{Path(inside[-1].filename).name}:{inside[-1].lineno}" if inside else "tests"
        return f"{type(error).__name__} at {where}"
    return "accepted"


def run(
    reader: Reader, count: int, seed: int, folder: Path, minutes: float = 1e9
) -> tuple[Counter[str], dict[str, bytes]]:
    """How so many inputs ended, fewer if the time is over; and the first input of each bad end."""
    rng = random.Random(f"{seed} {reader.name}")
    seeds = reader.seeds()
    found: Counter[str] = Counter()
    bad: dict[str, bytes] = {}
    until = time.monotonic() + minutes * 60
    for _ in range(count):
        if time.monotonic() > until:
            break
        data = damaged(rng.choice(seeds), seeds, rng)
        end = ended(reader, data, folder)
        found[end] += 1
        if end not in GOOD:
            bad.setdefault(end, data)
    return found, bad
