"""Meeting lights against the reference library's divisors and multiples, and against two lights that flash."""

from __future__ import annotations

import math
from itertools import count
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

PERIODS = range(1, 9)
LONGEST = 8  # steps for one answer; the subtractions for 1 and 8, and one to write it down
APART = 1 << 6


def switches(first: int, second: int) -> int:
    return first - 1 | second - 1 << 3


@pytest.mark.parametrize("first", PERIODS)
@pytest.mark.parametrize("second", PERIODS)
def test_every_pair(drive: Drive, first: int, second: int) -> None:
    """Python's `math.lcm` and `math.gcd`, and the first second that is a multiple of both periods."""
    meeting = next(second_ for second_ in count(1) if second_ % first == 0 and second_ % second == 0)
    assert meeting == math.lcm(first, second) == first * second // math.gcd(first, second)
    design = drive("meeting_lights")
    design.switch(switches(first, second))
    design.restart()
    assert design.outputs == 0
    answers = design.steps(100)[LONGEST - 1 :]
    assert set(answers) == {meeting | (APART if math.gcd(first, second) == 1 else 0)}


@pytest.mark.parametrize("old", [(1, 8), (8, 1), (5, 3), (6, 6)])
def test_a_change_of_the_switches(drive: Drive, old: tuple[int, int]) -> None:
    """Whenever the switches move, the old answer or the new one is shown, and after two answers' time the new one."""
    for when in range(2 * LONGEST):
        design = drive("meeting_lights")
        design.switch(switches(*old))
        design.restart()
        design.steps(LONGEST + when)
        before = design.outputs
        design.switch(switches(4, 6))
        answers = design.steps(2 * LONGEST)
        assert set(answers) <= {before, math.lcm(4, 6)}
        assert answers[-1] == math.lcm(4, 6)
