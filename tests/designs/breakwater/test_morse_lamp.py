"""The Morse lamp read by a listener who knows the code as a tree and the spaces of ITU-R M.1677-1."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

LAMP = 0b0111_1111
MESSAGES = ["PARIS", "BREAKWATER", "FOG AT QUAY", "TIDE 5"]
CODES = pytest.mark.parametrize("code", range(4))
#: The letters of ITU-R M.1677-1, section 1.1.1, as a tree laid in a row: from place n a dot leads to 2n + 1 and a
#: dash to 2n + 2. Section 1.1.2: the figures 1 to 5 are so many dots and then dashes, up to five signs in all.
TREE = "*ETIANMSURWDKGOHVF*L*PJBXCYZQ**"


def letter(signs: str) -> str:
    if len(signs) == 5:
        return str(signs.count(".")) if signs == signs.count(".") * "." + signs.count("-") * "-" else "*"
    place = 0
    for sign in signs:
        place = 2 * place + (1 if sign == "." else 2)
    return TREE[place]


def read(lit: NDArray[np.bool_]) -> str:
    """The text: a dash is three dots, the space in a letter one, between letters three, between words seven (1.2)."""
    words: list[list[str]] = [[""]]
    for level, run in groupby(lit.tolist()):
        match level, len(list(run)):
            case True, 1:
                words[-1][-1] += "."
            case True, 3:
                words[-1][-1] += "-"
            case False, 1:
                pass
            case False, 3:
                words[-1].append("")
            case False, 7:
                words.append([""])
            case wrong:
                raise ValueError(f"{wrong} is no sign and no space")
    return " ".join("".join(letter(signs) for signs in word if signs) for word in words)


def lamp(outputs: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Whether it is lit, at each step; the seven segments must agree."""
    assert set(outputs & LAMP) <= {0, LAMP}
    lit: NDArray[np.bool_] = outputs & LAMP != 0
    return lit


def restarted(drive: Drive, code: int) -> Driven:
    design = drive("morse_lamp")
    design.switch(code)
    design.restart()
    return design


@CODES
def test_text(drive: Drive, code: int) -> None:
    """Three times over, each begun with the point."""
    design = restarted(drive, code)
    outputs = np.append(design.now(), design.steps(1000))
    starts = np.flatnonzero(outputs >> 7)
    assert starts[0] == 0
    assert read(lamp(outputs[: starts[3]])).split() == MESSAGES[code].split() * 3
    assert MESSAGES[code] in design.datasheet.lines["i0"].means


def test_speed(drive: Drive) -> None:
    """PARIS with its space is 50 dots (common practice, no source): 3.75 a second are 4.5 words a minute."""
    design = restarted(drive, 0)
    starts = np.flatnonzero(np.append(design.now(), design.steps(500)) >> 7)
    assert set(np.diff(starts)) == {50}
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == 4.5 * 50 / 60


@CODES
def test_no_more_than_three_flashes_in_a_second(drive: Drive, code: int) -> None:
    """The caution's limit, 6 steps a second, by WCAG 2.2, criterion 2.3.1."""
    design = restarted(drive, code)
    assert "below 6 steps a second" in design.datasheet.description
    rises = np.diff(lamp(design.steps(500)).astype(int)) == 1
    assert np.convolve(rises, np.ones(6, int), "valid").max() <= 3


@CODES
@pytest.mark.parametrize("before", range(4))
def test_a_change_of_message_is_followed(drive: Drive, before: int, code: int) -> None:
    """From the next mark on it is the new message, also where that is over already."""
    design = restarted(drive, before)
    design.steps(90)
    design.switch(code)
    outputs = design.steps(400)
    starts = np.flatnonzero(outputs >> 7)
    assert read(lamp(outputs[starts[0] : starts[1]])).strip() == MESSAGES[code]
