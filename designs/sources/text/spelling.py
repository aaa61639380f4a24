"""Spellings that Yosys 0.70 reads wrongly: `default` without its colon, and `'bz` without a width.

Source: IEEE 1364-2005, 9.5 (the colon may be left out) and 3.5.1 (such a number is as wide as what it stands in, and
its highest digit goes on). Yosys forgets the first where a constant is worked out, and sees no driver that is off in
the second.
"""

from __future__ import annotations

import re

from .tokens import Verilog

_OPEN = re.compile(r"'s?[bodh][z?]_*", re.IGNORECASE)


def rewrite_spelling(verilog: Verilog) -> None:
    """Write the colon, and as many z as the left side of the assignment has bits."""
    for at in verilog.where("default"):
        if verilog.word(at + 1) != ":":
            verilog.instead(at, at + 1, "default:")
    for at in verilog.words_like("'"):
        equals = _equals_before(verilog, at) if _OPEN.fullmatch(verilog.word(at)) else -1
        if equals > 0:
            name = verilog.open(equals - 1) if verilog.word(equals - 1) == "]" else equals
            verilog.instead(at, at + 1, f"{{$bits({verilog.source(name - 1, equals)}){{1'bz}}}}")


def _equals_before(verilog: Verilog, at: int) -> int:
    """The sign of the assignment that a number stands in; -1 where that is none to a name."""
    while at > 0 and verilog.word(at) not in ("=", "<=", ";"):
        at -= 1
    return at if verilog.word(at) != ";" and verilog.word(at - 1) != "}" else -1
