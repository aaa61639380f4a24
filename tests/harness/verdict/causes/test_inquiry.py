"""Causes that are made of the recording itself: a clock that stopped, before its beginning or on the way."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.designs.procedures.procedure import Steps
from forelight.harness.capture.record import Capture, RecordedLine
from forelight.harness.verdict.causes import clock

from .benches import OUTPUTS, handling, inquiry, recorded


@pytest.mark.parametrize("steps", [20, 110])
def test_a_clock_may_stop_while_the_design_rests(steps: int) -> None:
    """The light goes out a quarter of a second (75 steps) after it went on, and on again after 1500: by the edges the
    clock may have stopped at any time in between."""
    it = handling("lighthouse", (Steps(400),), i3=0)
    found = inquiry(it, recorded(clock.stopped_on_the_way(it, steps, 12.0).change(it), steps=400))
    found.weigh_stop()
    assert all(one.fit.best.mismatches == 0 for one in found.found)
    # Before the light went out that shows; later nothing else was due.
    assert len(found.found) == 1


def test_a_clock_may_have_stopped_before_the_recording_began() -> None:
    it = handling("travelling_wave", (Steps(60),), i0=1)
    moving = recorded(it)
    at = np.array([moving.start + 0.5])
    lines = {name: RecordedLine(np.zeros(1), moving.lines[name].at(at)) for name in OUTPUTS}
    found = inquiry(it, Capture(lines, 0.0, 2.0))
    found.weigh_stop()
    (one,) = found.found
    assert one.cause.kind == "clock stopped on the way" and one.fit.best.mismatches == 0
    none = inquiry(
        it, Capture({name: RecordedLine(np.zeros(1), np.ones(1, np.uint8)) for name in OUTPUTS}, 0.0, 2.0)
    )
    none.weigh_stop()
    assert none.found == []  # nowhere in the run are all of them at 1
