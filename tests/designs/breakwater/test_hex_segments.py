"""Hex segments against the digit shapes of published decoders, for every number and both ways to count."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

# TI SN74247 data sheet: segments a to g, 6 and 9 with tails.
DIGITS = [
    "1111110",
    "0110000",
    "1101101",
    "1111001",
    "0110011",
    "1011011",
    "1011111",
    "1110000",
    "1111111",
    "1111011",
]
# The letters have no standard: A b C d E F in the shapes that common practice uses, no source.
LETTERS = ["1110111", "0011111", "1001110", "0111101", "1001111", "1000111"]


def shapes() -> list[int]:
    return [int(lit[::-1], 2) for lit in DIGITS + LETTERS]


@pytest.mark.parametrize("number", range(16))
def test_hexadecimal(drive: Drive, number: int) -> None:
    design = drive("hex_segments")
    design.switch(number)
    assert design.outputs == shapes()[number]


@pytest.mark.parametrize("number", range(16))
def test_decimal_is_dark_above_nine(drive: Drive, number: int) -> None:
    """As the CD4511 data sheet has it: blank for 10 to 15."""
    design = drive("hex_segments")
    design.switch(number | 1 << 4)
    assert design.outputs == (shapes()[number] if number < 10 else 0b1000_0000)


def test_no_two_numbers_look_alike() -> None:
    assert len(set(shapes())) == 16
