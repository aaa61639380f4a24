"""`==?` and `!=?` as a comparison of the bits that the right side states.

Source: IEEE 1800-2017, 11.4.6: x and z digits of the right side match any bit.
"""

from __future__ import annotations

import re

from .labels import constant_names
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
#: Signs that leave each of the operands as wide as it is.
_JOINING = {"(", ")", "[", "]", "{", "}", ",", ":", "::", "."}
_PREFIXES = {"~", "!", "-", "+", "&", "|", "^", "~&", "~|", "~^", "^~"}
_BITS = {"b": 1, "o": 3, "h": 4}


def rewrite_wildcards(verilog: Verilog) -> None:
    """Raises SourceError where it cannot be seen which bits of the right side match any."""
    constants = constant_names(verilog) if verilog.where("==?", "!=?") else set()
    for at in verilog.where("==?", "!=?"):
        first, last = at + 1, _right(verilog, at)
        while verilog.word(first) == "(" and verilog.close(first) == last - 1:
            first, last = first + 1, last - 1
        left, behind = _left(verilog, at), _right(verilog, at)
        pattern = _pattern(verilog.word(first)) if last == first + 1 else None
        if pattern is None and not _is_constant(verilog, first, last, constants):
            verilog.instead(at, at + 1, verilog.word(at)[:-1])  # once it is a chip, no bit of it is x or z
            continue
        if pattern is not None:
            width, value, free = pattern
            mask, right = f"({width}'d{free})", f"{width}'d{value}"
        else:
            mask, right = _worked_out(verilog, at, first, last)
        verilog.before(left, "((")
        verilog.instead(at, behind, f") & ~{mask}) {verilog.word(at)[:-1]} {right}")


def _is_constant(verilog: Verilog, first: int, last: int, constants: set[str]) -> bool:
    """Whether an expression is a constant of a module, or nothing in it is. Raises SourceError for all else."""
    places = range(first, last)
    named = [at for at in places if verilog.tokens[at].is_name() and verilog.word(at + 1) != "::"]
    kinds = {verilog.word(at) in constants or verilog.word(at - 1) == "::" for at in named}
    numbers = [verilog.word(at) for at in places if verilog.tokens[at].kind == "number"]
    if kinds == {False} and not any(set(number.lower()) & set("xz?") for number in numbers):
        return False
    plain = all(verilog.tokens[at].kind != "sign" or verilog.word(at) in _JOINING for at in places)
    if False in kinds or not plain or not any(start < first < end for _, start, end in verilog.modules()):
        raise verilog.refused(
            first - 1,
            f"the right side of `{verilog.word(first - 1)}` is no plain constant of this module",
            "write it out, as 4'b1?0?",
        )
    return True


def _worked_out(verilog: Verilog, at: int, first: int, last: int) -> tuple[str, str]:
    """The bits of a constant that match any, and the others with 0 in the place of those, worked out by Yosys.

    Both are signed if the constant is.
    """
    shown = verilog.source(first, last)
    bits = f"[$bits({shown})-1:0]"
    end = next(end for _, start, end in verilog.modules() if start < at < end)
    made = []
    for stem, value, other in (("free", "1'b1", "1'b0"), ("stated", "1'b0", "p[i]")):
        name = verilog.unique(stem)
        verilog.before(
            end,
            f"function {bits} {name}(input {bits} p); integer i; for (i = 0; i < $bits({shown}); i = i + 1)"
            f" {name}[i] = p[i] === 1'bx || p[i] === 1'bz ? {value} : {other}; endfunction",
        )
        made.append(f"($signed({name}({shown})) | ({shown} & 1'sb0))")
    return made[0], made[1]


def _pattern(word: str) -> tuple[int, int, int] | None:
    """Width, value of the stated bits, and the bits that may be any."""
    match = re.fullmatch(r"(\d+)\s*'([bohd])\s*([\da-fxz?_]+)", word.lower())
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


def _right(verilog: Verilog, at: int) -> int:
    """The token behind the right side of the comparison at `at`."""
    index = at + 1
    while verilog.word(index) in _PREFIXES:
        index += 1
    while index < len(verilog.tokens):
        word = verilog.word(index)
        if word in ("(", "[", "{"):
            index = verilog.close(index)
        elif word in _LOOSER or word in (")", "]", "}", "==?", "!=?"):
            break
        index += 1
    return index


def _unary(verilog: Verilog, at: int) -> bool:
    if verilog.word(at) not in ("&", "|", "^", "~^", "^~"):
        return False
    before = verilog.word(at - 1)
    return before in _BEFORE_UNARY or before in ("return", "begin", "else")
