"""Reaction test against the times pressed: every wait, every count, and waits by a reference sequence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.signal import max_len_seq

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

# TI SN74247 data sheet: segments a to g, 6 and 9 with tails.
TABLE = "1111110 0110000 1101101 1111001 0110011 1011011 1011111 1110000 1111111 1111011"
DIGITS = {int(lit[::-1], 2): digit for digit, lit in enumerate(TABLE.split(" "))}
DARK, LIGHT, EARLY, SLOW = 0, 1 << 7, 1 << 3, 1 << 6
SHORTEST, PERIOD = 25, 63
STEP = 0.040  # seconds


def press(design: Driven) -> None:
    design.set(i0=1)
    design.steps(1)
    design.set(i0=0)


def wait_of(design: Driven) -> int:
    """Steps in the dark, the first press included; it ends with the step at which the light comes."""
    press(design)
    dark = 1
    while design.outputs == DARK:
        design.steps(1)
        dark += 1
    assert design.outputs == LIGHT
    return dark - 1


def waits(drive: Drive) -> list[int]:
    """The wait for a first press at each step of a period, less the shortest."""
    found = []
    for moment in range(PERIOD):
        design = drive("reaction_test")
        design.restart()
        design.steps(moment + 1)
        found.append(wait_of(design) - SHORTEST - 1)
    return found


def test_all_waits_come_once(drive: Drive) -> None:
    """The taps 6, 5 are maximal (Xilinx XAPP 052, with exclusive-nor): every number but 63 comes."""
    found = waits(drive)
    assert sorted(found) == list(range(PERIOD))
    seconds = [(SHORTEST + 1 + wait) * STEP for wait in (min(found), max(found))]
    assert seconds == pytest.approx([1.04, 3.52])


def test_waits_follow_the_reference_sequence(drive: Drive) -> None:
    """scipy's maximal sequence of 6 bits has the reciprocal polynomial: reversed and inverted it gives the low bits."""
    low_bits = "".join(str(wait & 1) for wait in waits(drive))
    reference = "".join(str(1 - bit) for bit in max_len_seq(6)[0][::-1])
    assert low_bits in reference + reference


@pytest.mark.parametrize("taken", range(1, 30))
def test_the_digit_is_the_time_taken(drive: Drive, taken: int) -> None:
    """Whole steps from the light to the press; the digit stays while the button is held and after."""
    design = drive("reaction_test")
    design.restart()
    wait_of(design)
    assert set(design.steps(taken - 1)) <= {LIGHT}
    design.set(i0=1)
    shown = {int(outputs) for outputs in np.append(design.steps(40), design.now())}
    assert shown == {SLOW} if taken > 10 else {DIGITS[value] for value in shown} == {taken - 1}


def test_a_usual_reaction_is_in_the_middle_of_the_scale(drive: Drive) -> None:
    """A person answers a light in about 0.2 to 0.3 s, which is 4 to 8 steps.

    Woodworth and Schlosberg, Experimental Psychology; from memory.
    """
    step = drive("reaction_test").datasheet.step
    assert step is not None
    assert step.wanted_hz == pytest.approx(1 / STEP)
    assert all(2 < seconds / STEP < 9 for seconds in (0.2, 0.3))


@pytest.mark.parametrize("moment", range(2, SHORTEST))
def test_a_false_start(drive: Drive, moment: int) -> None:
    """A press in the dark is told; the press after that begins anew."""
    design = drive("reaction_test")
    design.restart()
    press(design)
    assert set(design.steps(moment - 1)) == {DARK}
    press(design)
    assert set(np.append(design.now(), design.steps(100))) == {EARLY}
    assert wait_of(design) > SHORTEST
