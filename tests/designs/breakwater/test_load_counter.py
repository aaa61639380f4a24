"""Load counter against decimal counting: a whole round of a hundred, both digits, from every power-up."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive

# TI SN74247 data sheet: segments a to g, 6 and 9 with tails.
TABLE = "1111110 0110000 1101101 1111001 0110011 1011011 1011111 1110000 1111111 1111011"
DIGITS = {int(lit[::-1], 2): digit for digit, lit in enumerate(TABLE.split(" "))}


@pytest.mark.parametrize("power_up", [0, 1])
def test_counts_in_decimal(drive: Drive, power_up: PowerUp) -> None:
    """Python's own decimal notation is the judge."""
    design = drive("load_counter", power_up)
    design.restart()
    for count in range(1, 206):
        design.set(i0=1)
        design.steps(3)  # a sack that takes its time counts once
        design.set(i0=0)
        design.steps(1)
        ones = DIGITS[design.outputs & 0x7F]
        design.set(i1=1)
        assert design.outputs >> 7 == 1
        tens = DIGITS[design.outputs & 0x7F]
        design.set(i1=0)
        assert f"{tens}{ones}" == f"{count:03}"[-2:]


@pytest.mark.parametrize(("samples", "once"), [(1, True), (6, False)])
def test_a_bouncing_contact(drive: Drive, samples: int, once: bool) -> None:
    """At the wanted 50 steps a second at most one falls into a bounce, and it reads either level: counted once.

    A bounce lasts 6.2 ms at most (16 switches: Ganssle, A Guide to Debouncing). With a step each millisecond, six
    fall into one, and sacks are counted that never came.
    """
    seed = 8
    print("seed", seed)
    chance = random.Random(seed)
    design = drive("load_counter")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == 50
    design.restart()
    for _ in range(9):
        for level in (1, 0):
            design.follow([chance.randrange(2) for _ in range(samples)] + [level] * 10)
    assert (DIGITS[design.outputs & 0x7F] == 9) == once
