"""Arithmetic that is too large to draw is refused before it is drawn, with what would be possible."""

from __future__ import annotations

import pytest
from forelight.sim.errors import UnsupportedError
from forelight.sim.gates.rewrite import gates
from forelight.sim.gates.size import arithmetic_gates, refuse_large_arithmetic
from forelight.sim.netlist import Cell, Netlist, Word


def netlist(kind: str, width: int) -> Netlist:
    words = Word.value(0, width), Word.value(1, width)
    cell = Cell(kind, 2, words, {"A_SIGNED": 0, "B_SIGNED": 0}, "t.v:3")
    return Netlist("t", (width,) * 3, {"a": 0, "b": 1}, {"y": Word.value(2, width)}, (cell,), (), ())


@pytest.mark.parametrize("kind", ["$mul", "$div", "$mod", "$pow"])
def test_an_estimate_is_of_the_size_of_what_is_drawn(kind: str) -> None:
    small = netlist(kind, 12 if kind == "$pow" else 24)
    refuse_large_arithmetic(small)
    drawn = len(gates(small).cells)
    assert drawn / 2 < arithmetic_gates(small, small.cells[0]) < drawn * 2


@pytest.mark.parametrize(
    ("kind", "width", "words"),
    [
        ("$mul", 4096, "t.v:3: arithmetic of some 67,108,864 gates, most of them in a product of 4096 bits"),
        (
            "$div",
            4096,
            "t.v:3: arithmetic of some 117,440,512 gates, most of them in a quotient of 4096 bits",
        ),
        ("$pow", 64, "t.v:3: arithmetic of some 524,288 gates, most of them in a power of 64 bits"),
    ],
)
def test_refused(kind: str, width: int, words: str) -> None:
    with pytest.raises(UnsupportedError) as caught:
        refuse_large_arithmetic(netlist(kind, width))
    assert str(caught.value).startswith(words)
    able = int(str(caught.value).split()[-2])
    refuse_large_arithmetic(netlist(kind, able))
