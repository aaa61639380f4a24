"""Long blocks in pieces: the same function, wherever a block ends."""

from __future__ import annotations

import ctypes

import pytest
from forelight.sim.machine import jit, pieces
from forelight.sim.machine.code import compile_text

#: A loop of a long block, entered from one that is long too; its sum depends on the names of the blocks it comes from.
LOOP = """\
define void @f(ptr %data, i64 %n) {{
entry:
  %room = alloca i64, align 8
{before}
  store i64 %b{most}, ptr %room, align 8
  %first = load i64, ptr %room, align 8
  br label %head
head:
  %i = phi i64 [0, %entry], [%next, %head]
  %sum = phi i64 [%first, %entry], [%s{most}, %head]
{inside}
  %next = add i64 %i, 1
  %done = icmp eq i64 %next, %n
  br i1 %done, label %exit, label %head
exit:
  %end = phi i64 [%s{most}, %head]
  store i64 %end, ptr %data, align 8
  ret void
}}
"""


def loop(length: int) -> str:
    before = ["  %b0 = add i64 %n, 0", *(f"  %b{k} = mul i64 %b{k - 1}, 3" for k in range(1, length))]
    inside = [
        "  %s0 = add i64 %sum, %i",
        *(f"  %s{k} = xor i64 %s{k - 1}, {k * k}" for k in range(1, length)),
    ]
    return LOOP.format(before="\n".join(before), inside="\n".join(inside), most=length - 1)


def meant(length: int, count: int) -> int:
    total = count * 3 ** (length - 1)
    for i in range(count):
        total += i
        for k in range(1, length):
            total ^= k * k
    return int(total % 2**64)


@pytest.mark.parametrize("length", [2, 9, 10, 11, 95, 700])
@pytest.mark.parametrize("printed", [False, True])
def test_the_same_function(length: int, printed: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also of a text as LLVM prints it, whose marks differ."""
    monkeypatch.setattr(pieces, "PIECE", 10)
    text = loop(length)
    if printed:
        text = str(jit.optimised(text, 0))
    cut = pieces.in_pieces(text)
    assert cut.count("br label %piece") >= length // 6 - 1 and ("piece" in cut) == (length > 2)
    result = ctypes.c_uint64()
    compile_text(cut, "f", 0).call(ctypes.addressof(result), 5)
    assert result.value == meant(length, 5)
