"""Free counter against counting in arithmetic: from every power-up the same sequence, begun at another place."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive, Driven

ROUND = 256


def woken(drive: Drive) -> list[Driven]:
    seed = 12
    print("seed", seed)
    source = random.Random(seed)
    power_ups: list[PowerUp] = [0, 1, *(random.Random(source.randrange(2**32)) for _ in range(40))]
    return [drive("free_counter", power_up) for power_up in power_ups]


def test_every_run_is_a_shift_of_counting(drive: Drive) -> None:
    """n steps add n, modulo 256 (arithmetic), whatever it woke up with."""
    for design in woken(drive):
        first = design.outputs
        expected = (first + np.arange(1, 2 * ROUND + 1)) % ROUND
        np.testing.assert_array_equal(design.steps(2 * ROUND), expected)


def test_no_output_can_be_predicted(drive: Drive) -> None:
    """Each line is 1 after some power-ups and 0 after others, however long it has run."""
    numbers = []
    for design in woken(drive):
        design.steps(1000)
        numbers.append(design.outputs)
    assert np.bitwise_or.reduce(numbers) == 0xFF
    assert np.bitwise_and.reduce(numbers) == 0


def test_hold(drive: Drive) -> None:
    for design in woken(drive):
        first = design.outputs
        design.set(i0=1)
        assert set(design.steps(10)) == {first}
