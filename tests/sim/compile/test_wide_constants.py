"""Constants of more digits than Python makes decimal text of, alone and beside other parts of a word."""

from __future__ import annotations

import pytest
from forelight.sim.compile.text import Text
from forelight.sim.compile.words import Scope
from forelight.sim.netlist import Const, Slice, Word

WIDTH = 20_000


@pytest.mark.parametrize("ones", [1, WIDTH])
def test_a_wide_constant_has_a_text(ones: int) -> None:
    bits = (1 << ones) - 1
    text = Text()
    scope = Scope(text, [8])
    scope.put(0, "%x")
    assert scope.word(Word.of([Const(bits, WIDTH)])) == f"u0x{bits:x}"
    scope.word(Word.of([Slice(0, 0, 8), Const(bits, WIDTH)]))
    assert f"u0x{bits << 8:x}" in text.render()
