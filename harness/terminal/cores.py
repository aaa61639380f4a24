"""One piece of work for each of many things, over all cores, with a progress bar."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from forelight.designs.sources.trust import TRUST, Trust, trust
from forelight.sim.errors import UsageError

from ..limits import bounded, watch
from .output import no_bars, progress

#: Python's own process that clears up after an interrupted command would say so to the terminal.
_TIDYING = "ignore::UserWarning:multiprocessing.resource_tracker"

Item = TypeVar("Item")
Result = TypeVar("Result")


def core_count() -> int:
    """How many cores this process may use, which may be fewer than the machine has."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def for_each(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    task: str,
    begin: Callable[[], None] | None = None,
) -> Iterator[Result]:
    """The results of `work`, in the order of the items; what it raises is raised here.

    Each process has the bounds of time and memory of this one, and calls `begin` once, before any work: what all items
    share is sent with it, not with each of them.
    All three must be picklable.
    """
    workers = min(len(items), core_count())
    with progress(task) as advance:
        if workers < 2:
            if begin:
                begin()
            for number, item in enumerate(items, 1):
                yield work(item)
                advance(number, len(items))
            return
        import multiprocessing  # the half of what a command is loaded with, where one process is enough
        from concurrent.futures.process import BrokenProcessPool, ProcessPoolExecutor

        os.environ.setdefault("PYTHONWARNINGS", _TIDYING)
        # A fork would copy locks that other threads of this process hold.
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(workers, context, _begin, (trust(), begin, bounded())) as pool:
            try:
                for number, result in enumerate(pool.map(work, items), 1):
                    yield result
                    advance(number, len(items))
            except BrokenProcessPool:
                raise UsageError(
                    "one of several processes ended before its work was done",
                    remedy="it may have run out of memory or time: ask for less, or give it more",
                ) from None


def _begin(agreed: Trust, begin: Callable[[], None] | None, watched: bool) -> None:
    TRUST.set(agreed)
    no_bars()
    if watched:
        watch(silent=True)
    if begin:
        begin()
