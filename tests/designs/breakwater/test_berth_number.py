"""The berth number against the decoders' data sheets and Python's decimal notation, for all numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

# TI SN74247 data sheet: segments a to g, 6 and 9 with tails. The small b is a 6 without its upper bar.
TABLE = "1111110 0110000 1101101 1111001 0110011 1011011 1011111 1110000 1111111 1111011 0011111 0000000"
READ = {int(lit[::-1], 2): character for lit, character in zip(TABLE.split(), "0123456789b ", strict=True)}


def reads(design: Driven, steps: int) -> str:
    """What is shown now and after each of the steps, with a point behind the character that has it lit."""
    shown = np.append(design.now(), design.steps(steps)).tolist()
    return "".join(READ[output & 0x7F] + "." * (output >> 7) for output in shown)


@pytest.mark.parametrize("number", range(64))
def test_every_number(drive: Drive, number: int) -> None:
    design = drive("berth_number")
    design.switch(number)
    design.restart()
    assert reads(design, 11) == f"b.{number:02} " * 3


@pytest.mark.parametrize("change", range(1, 12))
def test_two_numbers_never_mix(drive: Drive, change: int) -> None:
    """Whenever the switches move from 19 to 42, each round shows one of the two, and the new one from then on."""
    design = drive("berth_number")
    design.switch(19)
    design.restart()
    before = reads(design, change)
    design.switch(42)
    after = reads(design, 20 - change)[1 + (before[-1] == ".") :]  # the first character has been read already
    rounds = (before + after).replace("b.", "").split()
    assert rounds in (["19"] * old + ["42"] * (5 - old) for old in range(1, 4))


def test_no_flashing(drive: Drive) -> None:
    """A segment comes and goes at most once in two steps: under three flashes a second (WCAG 2.2, 2.3.1)."""
    design = drive("berth_number")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz is not None
    assert design.datasheet.step.wanted_hz / 2 <= 3
