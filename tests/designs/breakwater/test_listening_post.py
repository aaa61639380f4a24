"""Listening post against a sender that knows only what 8N1 is, for every character and with clocks that differ."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

BIT = 5.0  # steps, at 1500 steps a second and 300 baud
BROKEN = 1 << 7
# Segments a to g: TI SN74247 data sheet, 6 and 9 with tails; letters A b C d E F by common practice, no source.
TABLE = (
    "1111110 0110000 1101101 1111001 0110011 1011011 1011111 1110000 "
    "1111111 1111011 1110111 0011111 1001110 0111101 1001111 1000111"
)
DIGITS = {int(lit[::-1], 2): digit for digit, lit in enumerate(TABLE.split(" "))}


def sent(letter: int, bit: float = BIT, phase: float = 0.0, stop: int = 1) -> NDArray[np.uint8]:
    """The line at each step: rest, a low start bit, eight data bits lowest first, a high stop bit, rest.

    8N1 as in Microchip and NXP AN10386. `phase` is how many steps after the first one the start bit begins.
    """
    levels = np.array([1, 0, *(letter >> place & 1 for place in range(8)), stop, 1], np.uint8)
    edges = phase + 3 + bit * np.arange(len(levels) - 1)
    steps = np.arange(int(12 * bit) + 6)
    return levels[np.searchsorted(edges, steps, side="right")]


def hear(design: Driven, line: NDArray[np.uint8]) -> None:
    for level in line.tolist():
        design.set(i0=level)
        design.steps(1)


def shown(design: Driven) -> int:
    design.set(i1=1)
    upper = DIGITS[design.outputs & 0x7F]
    design.set(i1=0)
    return upper << 4 | DIGITS[design.outputs & 0x7F]


def restarted(drive: Drive) -> Driven:
    design = drive("listening_post")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == 300 * BIT
    design.restart()
    return design


def test_every_character(drive: Drive) -> None:
    """One after the other without a rest but for the stop bit, in an order that the seed decides."""
    seed = 3
    print("seed", seed)
    letters = random.Random(seed).sample(range(256), 256)
    design = restarted(drive)
    for letter in letters:
        hear(design, sent(letter)[3:53])
        assert shown(design) == letter
        assert not design.outputs & BROKEN


@pytest.mark.parametrize("error", [-0.03, 0.03])
@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5, 0.75])
def test_a_sender_whose_clock_is_off(drive: Drive, error: float, phase: float) -> None:
    """Ten bits stand a sender that is 3 % off (about 5 % in all: common practice, no source)."""
    design = restarted(drive)
    for letter in (0x00, 0x55, 0xAA, 0xFF, 0x01, 0x80, 0x7F, 0xFE):
        hear(design, sent(letter, BIT * (1 + error), phase))
        assert shown(design) == letter
        assert not design.outputs & BROKEN


def test_no_stop_bit(drive: Drive) -> None:
    """It is told and the character before it stays; a whole one after it is heard again."""
    design = restarted(drive)
    hear(design, sent(0x4B))
    hear(design, sent(0x31, stop=0))
    assert design.outputs & BROKEN
    assert shown(design) == 0x4B
    hear(design, sent(0x32))
    assert not design.outputs & BROKEN
    assert shown(design) == 0x32


@pytest.mark.parametrize("length", [1, 2])
def test_a_click_is_no_character(drive: Drive, length: int) -> None:
    """Less than half a bit low is no start bit: it is looked at again in its middle."""
    design = restarted(drive)
    hear(design, np.array([1] * 5 + [0] * length + [1] * 60, np.uint8))
    assert (shown(design), design.outputs & BROKEN) == (0, 0)
    hear(design, sent(0x4B))
    assert shown(design) == 0x4B
