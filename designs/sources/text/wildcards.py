"""`==?` and `!=?` against a written constant, as a comparison of the bits that it states.

Source: IEEE 1800-2017, 11.4.6: x and z digits of the right side match any bit.
"""

from __future__ import annotations

import re

from .tokens import Verilog

#: Signs that bind no tighter than `==`, so that the left side ends there (IEEE 1800-2017, table 11-2).
_LOOSER = {
    "&",
    "^",
    "|",
    "~^",
    "^~",
    "&&",
    "||",
    "?",
    ":",
    "=",
    "<=",
    ",",
    ";",
    "==",
    "!=",
    "===",
    "!==",
    "->",
}
_BEFORE_UNARY = _LOOSER | {
    "(",
    "[",
    "{",
    "==?",
    "!=?",
    "+",
    "-",
    "*",
    "/",
    "%",
    "~",
    "!",
    "<",
    ">",
    ">=",
    "<<",
    ">>",
}
_BITS = {"b": 1, "o": 3, "h": 4}


def rewrite_wildcards(verilog: Verilog) -> None:
    """Raises SourceError where the right side is not written out."""
    for at in verilog.where("==?", "!=?"):
        sign = verilog.word(at)
        pattern = _pattern(verilog.word(at + 1))
        if pattern is None:
            raise verilog.refused(
                at, f"the right side of `{sign}` is no constant with a base", "write it out, as 4'b1?0?"
            )
        width, value, free = pattern
        verilog.before(_left(verilog, at), "((")
        verilog.instead(at, at + 2, f") & ~{width}'d{free}) {sign[:-1]} {width}'d{value}")


def _pattern(word: str) -> tuple[int, int, int] | None:
    """Width, value of the stated bits, and the bits that may be any."""
    match = re.fullmatch(r"(\d+)\s*'s?([bohd])\s*([\da-fxz?_]+)", word.lower())
    if match is None:
        return None
    width, base, shown = int(match[1]), match[2], match[3].replace("_", "").replace("?", "z")
    if base == "d":
        return (width, int(shown), 0) if shown.isdigit() else None
    value = free = 0
    for digit in shown:
        bits = _BITS[base]
        full = (1 << bits) - 1
        value = value << bits | (0 if digit in "xz" else int(digit, 16))
        free = free << bits | (full if digit in "xz" else 0)
    have = len(shown) * _BITS[base]
    if shown[0] in "xz" and have < width:
        free |= (1 << width) - (1 << have)
    mask = (1 << width) - 1
    return width, value & mask, free & mask


def _left(verilog: Verilog, at: int) -> int:
    """The first token of the left side of the comparison at `at`."""
    index = at - 1
    while index >= 0:
        word = verilog.word(index)
        if word in (")", "]", "}"):
            index = verilog.open(index)
        elif word in ("(", "[", "{", "return", "begin", "else", "*)") or (
            word in _LOOSER and not (word in ("&", "|", "^", "~^", "^~") and _unary(verilog, index))
        ):
            break
        index -= 1
    return index + 1


def _unary(verilog: Verilog, at: int) -> bool:
    if verilog.word(at) not in ("&", "|", "^", "~^", "^~"):
        return False
    before = verilog.word(at - 1)
    return before in _BEFORE_UNARY or before in ("return", "begin", "else")
