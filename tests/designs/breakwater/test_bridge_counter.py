"""Bridge counter against the winding number of the beams' way around a circle, by NumPy's unwrapping of angles."""

from __future__ import annotations

import random
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive

# TI SN74247 data sheet: segments a to g, 6 and 9 with tails.
TABLE = "1111110 0110000 1101101 1111001 0110011 1011011 1011111 1110000 1111111 1111011"
DIGITS = {int(lit[::-1], 2): digit for digit, lit in enumerate(TABLE.split(" "))}
AROUND = (0b00, 0b01, 0b11, 0b10)  # the beams on the way in, a quarter of a circle each
LONGEST = 6


def passages(quarters: list[int]) -> int:
    """Ships that came in, less those that left: whole turns of the way, which ends with both beams clear."""
    angles = np.unwrap(np.array([0, *quarters]) * np.pi / 2)
    return round(float(angles[-1]) / (2 * np.pi))


def walks() -> list[list[int]]:
    """All ways of so many quarters, each onwards or back, or standing still, that end with both beams clear."""
    ways = [np.cumsum(moves).tolist() for moves in product((-1, 0, 1), repeat=LONGEST)]
    return [[place % 4 for place in way] for way in ways if way[-1] % 4 == 0]


def test_every_short_way(drive: Drive) -> None:
    seen = set()
    for way in walks():
        design = drive("bridge_counter")
        design.restart()
        for quarter in way:
            design.switch(AROUND[quarter])
            design.steps(1)
        assert DIGITS[design.outputs] == passages(way) % 10
        seen.add(passages(way))
    assert seen == {-1, 0, 1}


@pytest.mark.parametrize("power_up", [0, 1])
def test_a_busy_day(drive: Drive, power_up: PowerUp) -> None:
    """A long way at random, with more ships than the digit holds in both directions."""
    seed = 8
    print("seed", seed)
    source = random.Random(seed)
    design = drive("bridge_counter", power_up)
    design.restart()
    way: list[int] = [0]
    lean = 1
    for moment in range(3000):
        if moment % 500 == 0:
            lean = -lean
        way.append((way[-1] + source.choice([-1, 0, 1, lean])) % 4)
        design.switch(AROUND[way[-1]])
        design.steps(1)
        if way[-1] == 0:
            assert DIGITS[design.outputs] == passages(way) % 10


@pytest.mark.parametrize("quarter", range(4))
def test_both_beams_at_once(drive: Drive, quarter: int) -> None:
    """Half a turn may have gone either way: the point says so until the restart."""
    design = drive("bridge_counter")
    design.restart()
    for place in (*range(quarter + 1), quarter + 2):
        assert design.outputs >> 7 == 0
        design.switch(AROUND[place % 4])
        design.steps(1)
    assert design.outputs >> 7 == 1
    design.switch(0)
    assert set(design.steps(10) >> 7) == {1}
    design.restart()
    assert DIGITS[design.outputs] == 0
