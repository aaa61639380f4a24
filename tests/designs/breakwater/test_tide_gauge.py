"""The tide gauge against the decoders' data sheets and a triangle wave."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import sawtooth

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

#: Segments a to g: TI SN74LS47 and CD4511 data sheets, but 6 and 9 with their tails as in SN74247.
SHAPES = {
    "1111110": 0,
    "0110000": 1,
    "1101101": 2,
    "1111001": 3,
    "0110011": 4,
    "1011011": 5,
    "1011111": 6,
    "1110000": 7,
    "1111111": 8,
    "1111011": 9,
}


def digits(outputs: NDArray[np.uint8]) -> list[int]:
    """What a person reads; a shape that is no digit is a KeyError."""
    return [SHAPES["".join(str(value >> bit & 1) for bit in range(7))] for value in outputs.tolist()]


def restarted(drive: Drive) -> Driven:
    design = drive("tide_gauge")
    design.restart()
    return design


def test_it_rises_and_falls_like_a_triangle(drive: Drive) -> None:
    """0 up to 9 and down again in 18 steps: scipy's symmetric sawtooth, scaled from -1..1 to 0..9."""
    design = restarted(drive)
    levels = digits(np.append(design.now(), design.steps(360)))
    triangle = (sawtooth(2 * np.pi * np.arange(361) / 18, width=0.5) + 1) * 4.5
    assert levels == np.rint(triangle).astype(int).tolist()


def test_the_point_tells_where_the_tide_goes(drive: Drive) -> None:
    """Lit: the next level is higher; dark: it is lower."""
    outputs = restarted(drive).steps(100)
    assert (np.diff(digits(outputs)) == np.where(outputs[:-1] >> 7, 1, -1)).all()


@pytest.mark.parametrize("before", range(18))
def test_hold(drive: Drive, before: int) -> None:
    """i0 holds level and direction at every place of the tide, and letting go carries on from there."""
    held, free = restarted(drive), restarted(drive)
    start = [*held.now(), *held.steps(before + 1)][before]
    design = restarted(drive)
    if before:
        design.steps(before)
        free.steps(before)
    design.set(i0=1)
    assert set(design.steps(20)) == {start}
    design.set(i0=0)
    assert np.array_equal(design.steps(40), free.steps(40))
