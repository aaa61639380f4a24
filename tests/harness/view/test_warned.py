"""What is said aloud of loops and of drivers that fight, word by word."""

from __future__ import annotations

import numpy as np
from forelight.harness.golden.golden import Golden
from forelight.harness.view.warned import free_running, rates, warned
from forelight.sim.loops import Oscillation

NONE, MASK = np.zeros(0, np.int64), np.zeros(0, np.uint8)
RING = Oscillation(("wrapper.design.a", "b"), ("ring.v:3",), 3, 5)
FIGHT = "net y has two drivers that fight: a and b; leave one"
GOLDEN = Golden("quay", 1, NONE, NONE, MASK, MASK, MASK, MASK, 1, {"fights": FIGHT}, loops=(RING,))


def test_a_warning_for_each() -> None:
    assert list(warned(GOLDEN)) == [
        "Warning: a loop of 5 gates runs free: a, b (ring.v:3). Nothing that it reaches can be foretold, and it takes "
        "current for as long as it runs.",
        f"Warning: {FIGHT}.",
    ]
    assert list(free_running(GOLDEN)) == list(warned(GOLDEN))[:1]


def test_rates_are_told_for_the_delays_that_were_given() -> None:
    assert list(rates(GOLDEN, None)) == [
        "Say --gate-delay 0.1ns..2ns, with your own figures, to be told how fast it may run."
    ]
    # Twice around in a period: 1 / (2 * 5 * 2 ns) and 1 / (2 * 3 * 1 ns).
    assert list(rates(GOLDEN, (1e-9, 2e-9))) == [
        "With gates of 1 to 2 ns it runs at 50 MHz to 166.667 MHz, as a change goes round twice in a period."
    ]
