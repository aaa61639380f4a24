"""Spellings that Yosys 0.70 reads wrongly: `default` without its colon, `'bz` without a width, types of parameters.

Source: IEEE 1364-2005, 9.5 (the colon may be left out) and 3.5.1 (such a number is as wide as what it stands in, and
its highest digit goes on). Yosys forgets the first where a constant is worked out, and sees no driver that is off in
the second. Of a type that stands outside of modules it finds no width where a parameter has it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

from .tokens import Verilog

_OPEN = re.compile(r"'s?[bodh][z?]_*", re.IGNORECASE)


def rewrite_spelling(verilog: Verilog) -> None:
    """Write the colon, and as many z as the left side of the assignment has bits."""
    for at in verilog.where("default"):
        if verilog.word(at + 1) != ":":
            verilog.instead(at, at + 1, "default:")
    vectors = dict(_vectors(verilog))
    for at in verilog.where("parameter", "localparam") if vectors else ():
        if verilog.word(at + 1) in vectors and verilog.tokens[at + 2].is_name():
            verilog.instead(at + 1, at + 2, vectors[verilog.word(at + 1)])
    for at in verilog.words_like("'"):
        equals = _equals_before(verilog, at) if _OPEN.fullmatch(verilog.word(at)) else -1
        if equals > 0:
            name = verilog.open(equals - 1) if verilog.word(equals - 1) == "]" else equals
            verilog.instead(at, at + 1, f"{{$bits({verilog.source(name - 1, equals)}){{1'bz}}}}")


def _vectors(verilog: Verilog) -> Iterator[tuple[str, str]]:
    """The types outside of modules that are vectors, as what they stand for; of enumerations what their members are."""
    named = Counter(verilog.word(verilog.until(at, ";") - 1) for at in verilog.where("typedef"))
    for at in verilog.where("typedef"):
        last = verilog.until(at, ";") - 1
        first = at + 2 if verilog.word(at + 1) == "enum" else at + 1
        end = verilog.until_any(first, last, "{")
        within = any(start < at < stop for _, start, stop in verilog.modules())
        if (
            named[verilog.word(last)] == 1
            and not within
            and verilog.word(first) in ("logic", "bit", "reg")
            and verilog.tokens[last].is_name()
        ):
            yield verilog.word(last), verilog.source(first, end)


def _equals_before(verilog: Verilog, at: int) -> int:
    """The sign of the assignment that a number stands in; -1 where that is none to a name."""
    while at > 0 and verilog.word(at) not in ("=", "<=", ";"):
        at -= 1
    return at if verilog.word(at) != ";" and verilog.word(at - 1) != "}" else -1
