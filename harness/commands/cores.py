"""One piece of work for each of many things, over all cores, with a progress bar."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

from forelight.designs.sources.trust import TRUST, Trust, trust

from .output import progress

Item = TypeVar("Item")
Result = TypeVar("Result")


def for_each(work: Callable[[Item], Result], items: Sequence[Item], task: str) -> Iterator[Result]:
    """The results of `work`, in the order of the items; both must be picklable, and what it raises is raised here."""
    workers = min(len(items), os.cpu_count() or 1)
    with progress(task) as advance:
        if workers < 2:
            for number, item in enumerate(items, 1):
                yield work(item)
                advance(number, len(items))
            return
        # A fork would copy locks that other threads of this process hold.
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(
            workers, mp_context=context, initializer=_trusting, initargs=(trust(),)
        ) as pool:
            for number, result in enumerate(pool.map(work, items), 1):
                yield result
                advance(number, len(items))


def _trusting(agreed: Trust) -> None:
    TRUST.set(agreed)
