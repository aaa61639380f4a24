"""Division of words that no machine divides: an LLVM function for each width, one bit of the quotient a pass.

LLVM would call a library for words of 65 to 128 bits, and that library is not there at run time.
"""

from __future__ import annotations

import re

#: The widest word that LLVM divides without help.
NATIVE = 64


def call(width: int, dividend: str, divisor: str) -> str:
    """The expression for the quotient of two unsigned words; the divisor must not be 0."""
    return f"call i{width} @divide{width}(i{width} {dividend}, i{width} {divisor})"


def definitions(text: str) -> str:
    """The functions that a text calls."""
    return "".join(
        _definition(width) for width in sorted({int(found) for found in re.findall(r"@divide(\d+)", text)})
    )


def _definition(width: int) -> str:
    # Dividend and quotient share one word: bits of the one leave at the top as bits of the other come in
    # below. The rest has a bit to spare, as twice the rest may be wider than the divisor.
    word, wide = f"i{width}", f"i{width + 1}"
    return f"""
define internal {word} @divide{width}({word} %dividend, {word} %divisor) {{
entry:
  %against = zext {word} %divisor to {wide}
  br label %pass
pass:
  %left = phi i32 [{width}, %entry], [%fewer, %pass]
  %both = phi {word} [%dividend, %entry], [%moved, %pass]
  %rest = phi {wide} [0, %entry], [%kept, %pass]
  %top = lshr {word} %both, {width - 1}
  %bit = zext {word} %top to {wide}
  %twice = shl {wide} %rest, 1
  %tried = or {wide} %twice, %bit
  %fits = icmp uge {wide} %tried, %against
  %less = sub {wide} %tried, %against
  %kept = select i1 %fits, {wide} %less, {wide} %tried
  %up = shl {word} %both, 1
  %one = zext i1 %fits to {word}
  %moved = or {word} %up, %one
  %fewer = sub i32 %left, 1
  %done = icmp eq i32 %fewer, 0
  br i1 %done, label %end, label %pass
end:
  ret {word} %moved
}}
"""
