"""The sluice code by trying every code, and a button that bounces as measured buttons do."""

from __future__ import annotations

import random
from itertools import product
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tests.designs.breakwater.conftest import Drive, Driven

CODE = (7, 3, 1, 9)
OPEN, SHUT = 0b0011_1111, 0b1000_0000  # the letter O; nothing but the point
BARS = {0b0000_0000: 0, 0b0000_1000: 1, 0b0100_1000: 2, 0b0100_1001: 3}
HELD = 3  # steps that the button is held, and let go, as the datasheet asks


def entered(figures: Iterable[int]) -> list[int]:
    """The levels of i0 to i5, step by step, as these figures are entered."""
    return [figure << 1 | pressed for figure in figures for pressed in (1, 0) for _ in range(HELD)]


def restarted(drive: Drive) -> Driven:
    design = drive("sluice_code")
    design.restart()
    return design


def test_of_all_codes_one_opens(drive: Drive) -> None:
    """All 16^4, one after the other: the figures on the switches go up to 15."""
    codes = list(product(range(16), repeat=4))
    outputs = restarted(drive).follow([level for code in codes for level in entered(code)])
    after = outputs.reshape(len(codes), -1)[:, -1]
    assert [code for code, output in zip(codes, after.tolist(), strict=True) if output == OPEN] == [CODE]
    assert set(after) == {OPEN, SHUT}


@pytest.mark.parametrize("figures", [CODE, (7, 3, 1, 8), (0, 0, 0, 0), (0, 3, 1, 9)])
def test_nothing_is_told_before_the_fourth_figure(drive: Drive, figures: tuple[int, ...]) -> None:
    """Right or wrong, the bars are the same."""
    outputs = restarted(drive).follow(entered(figures[:3]))
    assert [BARS[output & 0x7F] for output in outputs[HELD - 1 :: 2 * HELD]] == [1, 2, 3]
    assert (outputs >> 7 == 1).all()


@pytest.mark.parametrize("figure", range(16))
def test_any_figure_shuts_it(drive: Drive, figure: int) -> None:
    design = restarted(drive)
    assert design.follow(entered(CODE))[-1] == OPEN
    assert (design.steps(1000) == OPEN).all()
    assert design.follow(entered([figure]))[-1] == SHUT | 0b1000


def test_a_code_across_two_tries_does_not_open(drive: Drive) -> None:
    """Figures count in fours from the restart: 0 7 3 1, 9 ... is two wrong tries."""
    outputs = restarted(drive).follow(entered([0, *CODE, 0, 0, 0]))
    assert (outputs >> 7 == 1).all()


def test_a_bouncing_button_counts_once(drive: Drive) -> None:
    """Contacts bounce for up to 6.2 ms (16 switches: Ganssle, A Guide to Debouncing) and a step is 20 ms.

    Sampled every 20 ms, only one sample can fall into a bounce, and it reads either level.
    """
    seed = 5
    print("seed", seed)
    chance = random.Random(seed)
    design = restarted(drive)
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == 50
    for _ in range(200):
        levels = entered(CODE)
        for edge in range(0, len(levels), HELD):
            levels[edge] = levels[edge] & ~1 | chance.randrange(2)
        assert design.follow(levels)[-1] == OPEN
        assert design.follow(entered([0, 0, 0, 0]))[-1] == SHUT
