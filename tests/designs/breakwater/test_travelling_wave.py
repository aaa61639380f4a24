"""Travelling wave against published cell counts and against the rules' definition, worked out by hand in Python."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

RULES = {0: 170, 1: 30, 2: 90, 3: 110}  # by the number on i0 and i1
FIRST = [0, 0, 0, 1, 0, 0, 0, 0]  # o7 first


def after(rule: int, cells: list[int]) -> list[int]:
    """The next row: the neighbourhood read as a binary number picks a bit of the rule (Wolfram 1983)."""
    size = len(cells)
    return [rule >> (4 * cells[n - 1] + 2 * cells[n] + cells[(n + 1) % size]) & 1 for n in range(size)]


@pytest.mark.parametrize("code", RULES)
def test_rows(drive: Drive, code: int) -> None:
    design = drive("travelling_wave")
    design.switch(code)
    design.restart()
    cells = FIRST
    assert design.outputs == int("".join(map(str, cells)), 2)
    for outputs in design.steps(300).tolist():
        cells = after(RULES[code], cells)
        assert f"{outputs:08b}" == "".join(map(str, cells))


@pytest.mark.parametrize(
    ("code", "counts"),
    [
        (1, [1, 3, 3, 6]),  # rule 30: OEIS A070952 (from memory)
        (2, [1, 2, 2, 4]),  # rule 90: OEIS A001316, Gould's sequence (from memory)
        (3, [1, 2, 3, 3]),  # rule 110 of one cell: 1, 11, 111, 1101 (from memory)
    ],
)
def test_published_counts(drive: Drive, code: int, counts: list[int]) -> None:
    """How many cells are lit in the first four rows, in which the light has not yet met itself around the ring."""
    design = drive("travelling_wave")
    design.switch(code)
    design.restart()
    rows = [design.outputs, *design.steps(3).tolist()]
    assert [row.bit_count() for row in rows] == counts


def test_rule_170_goes_around(drive: Drive) -> None:
    design = drive("travelling_wave")
    design.restart()
    assert design.steps(8).tolist() == [32, 64, 128, 1, 2, 4, 8, 16]
