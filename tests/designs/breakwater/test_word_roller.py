"""The word roller read back letter by letter with a published table of letters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

#: Segments a to g: PyPI library luma.led_matrix 1.9.0, table in segment_mapper.py, with its small d and n.
SHAPES = {
    "0000000": " ",
    "1110111": "A",
    "1001110": "C",
    "0111101": "D",
    "1001111": "E",
    "1000111": "F",
    "1011110": "G",
    "0001110": "L",
    "0010101": "N",
    "1111110": "O",
    "1100111": "P",
    "1011011": "S",
}
WORDS = ["OPEN", "CLOSED", "FOG", "GALE"]


def read(outputs: NDArray[np.uint8]) -> str:
    """What a person reads; a shape that is no letter is a KeyError."""
    return "".join(SHAPES["".join(str(value >> bit & 1) for bit in range(7))] for value in outputs.tolist())


def restarted(drive: Drive, word: int) -> Driven:
    design = drive("word_roller")
    design.switch(word)
    design.restart()
    return design


@pytest.mark.parametrize("word", range(4))
def test_words(drive: Drive, word: int) -> None:
    """Each word, then dark up to the eighth step, again and again."""
    design = restarted(drive, word)
    assert WORDS[word] in design.datasheet.lines["i0"].means
    assert read(np.append(design.now(), design.steps(31))) == WORDS[word].ljust(8) * 4


@pytest.mark.parametrize("word", range(4))
def test_the_point_marks_the_first_letter(drive: Drive, word: int) -> None:
    design = restarted(drive, word)
    outputs = np.append(design.now(), design.steps(31))
    assert (outputs >> 7 == [1, 0, 0, 0, 0, 0, 0, 0] * 4).all()


@pytest.mark.parametrize("step", range(8))
def test_another_word_goes_on_at_the_same_place(drive: Drive, step: int) -> None:
    """Nothing but the place is kept, so a change of word shows at once."""
    design = restarted(drive, 0)
    if step:
        design.steps(step)
    design.switch(1)
    assert read(design.now()) == "CLOSED  "[step]


def test_it_stays_below_three_changes_a_second(drive: Drive) -> None:
    """At the wanted rate the display changes twice a second (WCAG 2.2, 2.3.1: no more than three flashes)."""
    step = drive("word_roller").datasheet.step
    assert step is not None
    assert step.wanted_hz is not None
    assert step.wanted_hz <= 3
