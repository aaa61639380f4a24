"""Part-selects that are written and may reach below bit 0.

Source: IEEE 1364-2005, 5.2.1: the bits within range are written. Yosys 0.70 takes an unsigned place that falls below 0
for a very large one, and writes none.
"""

from __future__ import annotations

from collections.abc import Sequence

from .tokens import Verilog, declared

_SIGNED_KINDS = ("integer", "genvar", "int", "byte", "shortint", "longint", "parameter", "localparam")


def rewrite_selects(verilog: Verilog) -> None:
    """Make the place of `name[place -: width] = ...` a signed one, with room for its sign."""
    for _, start, end in verilog.modules():
        found = verilog.where("-:", start=start, end=end)
        signed = signed_names(verilog, start, end) if found else set()
        for at in found:
            opening = at
            while verilog.word(opening) != "[":
                opening = (
                    verilog.open(opening) - 1 if verilog.word(opening) in (")", "]", "}") else opening - 1
                )
            written = verilog.word(verilog.close(opening) + 1) in ("=", "<=", "}", ",")
            if written and not is_signed(verilog, opening + 1, at, signed):
                verilog.before(opening + 1, "$signed({1'b0, (")
                verilog.after(at - 1, ")})")


def signed_names(verilog: Verilog, start: int, end: int, kinds: Sequence[str] = _SIGNED_KINDS) -> set[str]:
    """Names that are declared as `signed`, or as one of the kinds that always are."""
    found = set()
    for _, name, last in declared(verilog, start, end, kinds):
        found |= {verilog.word(first) for first, _ in verilog.parts(name, last)}
    for at in range(start, end):
        if verilog.word(at) == "signed":
            name = verilog.close(at + 1) + 1 if verilog.word(at + 1) == "[" else at + 1
            found |= {verilog.word(first) for first, _ in verilog.parts(name, verilog.until(name, ";"))}
    return found


def is_signed(verilog: Verilog, start: int, end: int, signed: set[str]) -> bool:
    """Whether no operand of an expression is unsigned, which would make all of it so."""
    at = start
    while at < end:
        token = verilog.tokens[at]
        if token.text == "$signed":
            at = verilog.close(at + 1)
        elif token.text in ("{", "$unsigned") or _is_unsigned_operand(verilog, at, signed):
            return False
        at += 1
    return True


def _is_unsigned_operand(verilog: Verilog, at: int, signed: set[str]) -> bool:
    token = verilog.tokens[at]
    if token.kind == "number":
        return "'" in token.text and "'s" not in token.text.lower()
    return token.kind == "name" and (token.text not in signed or verilog.word(at + 1) == "[")
