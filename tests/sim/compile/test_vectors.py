"""Wide integers of LLVM text as vectors: the text, and that it computes the same."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.sim.compile.vectors import LOOP, vectors
from forelight.sim.machine.code import compile_text

GATE = """define void @f(ptr noalias %state) {
  %t1 = load i256, ptr %state, align 8
  %t2 = and i256 %t1, 340282366920938463463374607431768211455
  store i256 %t2, ptr %state, align 8
  ret void
}
"""


def test_the_text_of_one_gate() -> None:
    """In halves the mask of all ones is seen to do nothing, and that of zeros to leave nothing."""
    assert vectors(GATE, 256, 2) == (
        "define void @f(ptr noalias %state) {\n"
        "  %t1.0 = load <2 x i64>, ptr %state, align 8\n"
        "  %t2.0 = and <2 x i64> %t1.0, splat (i64 18446744073709551615)\n"
        "  store <2 x i64> %t2.0, ptr %state, align 8\n"
        "  %at1 = getelementptr i8, ptr %state, i64 16\n"
        "  %t1.1 = load <2 x i64>, ptr %at1, align 8\n"
        "  %t2.1 = and <2 x i64> %t1.1, zeroinitializer\n"
        "  %at2 = getelementptr i8, ptr %state, i64 16\n"
        "  store <2 x i64> %t2.1, ptr %at2, align 8\n"
        "  ret void\n"
        "}\n"
    )


def everything(masks: list[int]) -> str:
    """A loop with all that the rewriting knows, and with shifts and a comparison, which go through integers."""
    return f"""define void @f(ptr noalias %state, i64 %n) {{
entry:
  %t1 = load i256, ptr %state, align 8
  br label %head
head:
  %t2 = phi i64 [0, %entry], [%t3, %head]
  %t4 = phi i256 [%t1, %entry], [%t15, %head]
  %t5 = phi i256 [{masks[0]}, %entry], [%t4, %head]
  {LOOP}%t2
  %t6 = xor i256 %t4, {masks[1]}
  %t7 = trunc i256 %t6 to i1
  %t8 = sext i1 %t7 to i256
  %t9 = or i256 %t8, {masks[2]}
  %t10 = lshr i256 %t5, 3
  %t11 = select i1 %t7, i256 %t10, i256 %t9
  %t12 = icmp ugt i256 %t11, {masks[3]}
  %t13 = zext i1 %t12 to i256
  %t14 = shl i256 %t13, 200
  %t16 = xor i256 %t14, %t11
  %t15 = xor i256 %t16, %t6
  %t3 = add nuw i64 %t2, 1
  %t17 = icmp eq i64 %t3, %n
  br i1 %t17, label %exit, label %head
exit:
  store i256 %t15, ptr %state, align 8
  ret void
}}
"""


@pytest.mark.parametrize("pieces", [1, 2])
def test_it_computes_the_same(pieces: int) -> None:
    seed = random.randrange(1 << 32)
    print("seed", seed)
    rng = random.Random(seed)
    text = everything([rng.getrandbits(256) for _ in range(4)])
    plain, wide = compile_text(text, "f", 1), compile_text(vectors(text, 256, pieces), "f", 3)
    for rounds in (1, 2, 7, 100):
        first = np.frombuffer(rng.randbytes(32), np.uint8)
        one, other = first.copy(), first.copy()
        plain.call(one.ctypes.data, rounds)
        wide.call(other.ctypes.data, rounds)
        assert np.array_equal(one, other)
