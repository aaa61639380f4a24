"""What is said aloud of a design that takes current and cannot be foretold: loops that run free, drivers that fight."""

from __future__ import annotations

from collections.abc import Iterator

from ..golden.golden import Golden
from .words import hertz


def warned(golden: Golden) -> Iterator[str]:
    """A warning for each, to be said before all else."""
    yield from free_running(golden)
    if "fights" in golden.facts:
        yield f"Warning: {golden.facts['fights']}."


def free_running(golden: Golden) -> Iterator[str]:
    """Loops that run free in this run."""
    for loop in golden.loops:
        what = str(loop).replace("wrapper.design.", "").replace("wrapper.", "")
        yield (
            f"Warning: a loop of {loop.longest} gates runs free: {what}. Nothing that it reaches can be foretold, and "
            "it takes current for as long as it runs."
        )


def rates(golden: Golden, delays: tuple[float, float] | None) -> Iterator[str]:
    """How fast loops that run free may run, with gates of these least and greatest delays in seconds."""
    for loop in golden.loops:
        if delays is None:
            yield "Say --gate-delay 0.1ns..2ns, with your own figures, to be told how fast it may run."
            continue
        low, high = (hertz(rate) for rate in loop.frequency(*delays))
        least, greatest = (f"{delay * 1e9:.4g}" for delay in delays)
        yield (
            f"With gates of {least} to {greatest} ns it runs at {low} to {high}, as a change goes round twice in a "
            "period."
        )
