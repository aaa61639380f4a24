"""Labels of `case` with constants to be worked out: they are as wide as the widest of the selector and all labels.

Source: IEEE 1364-2005, 9.5 and 5.4: all of them are extended to that width, and are unsigned if one of them is, before
an operator is worked out. Yosys 0.70 works a constant of a label out in its own width before: in
`case (a) 2'd1 + 2'd3:` it takes 0, however wide `a` is. Where a function or an `initial` block is worked out, each
variable is such a constant, and the selector goes wrong too.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from .tokens import Verilog, declared, joined

#: Operators whose result depends on the width that they are worked out in.
_UNARY = {"+", "-", "~"}
_BINARY = {"+", "-", "*", "/", "%", "**", "&", "|", "^", "~^", "^~", "<<", ">>", "<<<", ">>>"}
#: A number with a width, or a short one without.
_VALUE = re.compile(r"^(\d+\s*'[sS]?[bodhBODH]).*|^\d{1,9}$")
_FIXED = ("parameter", "localparam", "genvar", "integer", "int")
_BLOCKS = ("always", "always_comb", "always_ff", "always_latch", "initial")

#: Kinds of operands, and what stands around an expression.
_CONSTANT, _OTHER, _OPENS = "constant", "other", ""

Stretch = tuple[int, int]


def rewrite_labels(verilog: Verilog) -> None:
    """Add a 0 that has the width and the sign of the selector and all labels together."""
    cases = _cases(verilog)
    constants = constant_names(verilog) if cases else set()
    for at, worked_out in cases.items():
        if verilog.word(verilog.close(at + 1) + 1) in ("inside", "matches"):
            continue
        selector, labels = (at + 2, verilog.close(at + 1)), list(_labels(verilog, at))
        terms = dict.fromkeys(_of_the_width(verilog, *stretch) for stretch in (selector, *labels))
        whole = " + ".join(f"({term})" for term in terms)
        for first, last in [*([selector] if worked_out else []), *labels]:
            if _works_constants_out(verilog, first, last, None if worked_out else constants):
                verilog.before(first, "((")
                verilog.after(last - 1, f") + (1'b0 ? {whole} : 1'sb0))")


def _of_the_width(verilog: Verilog, first: int, last: int) -> str:
    """An expression of the same width and sign; without its values, so that a long `case` has few of them."""
    tokens = verilog.tokens[first:last]
    if any(token.text in ("[", "{") for token in tokens):
        return joined(token.text for token in tokens)
    numbers = {token.text: _VALUE.sub(r"\g<1>0", token.text) for token in tokens if token.kind == "number"}
    return joined(numbers.get(token.text, token.text) for token in tokens)


def _cases(verilog: Verilog) -> dict[int, bool]:
    """Each `case` statement, and whether its block may be worked out; Yosys reads those of `generate` well."""
    found: dict[int, bool] = {}
    for at in verilog.where(*_BLOCKS, "function", "task"):
        word = verilog.word(at)
        last = verilog.statement_end(at + 1) if word in _BLOCKS else verilog.until_word(at, f"end{word}")
        places = verilog.where("case", "casez", "casex", start=at, end=last)
        found |= dict.fromkeys(places, word in ("function", "initial"))
    return found


def _labels(verilog: Verilog, at: int) -> Iterator[Stretch]:
    item, end = verilog.close(at + 1) + 1, verilog.nest_end(at)
    while item < end:
        if verilog.word(item) == "default":
            item += 2 if verilog.word(item + 1) == ":" else 1
        else:
            colon = verilog.colon(item, end)
            yield from verilog.parts(item, colon)
            item = colon + 1
        item = verilog.statement_end(item) + 1


def constant_names(verilog: Verilog) -> set[str]:
    """Names that Yosys may know the value of: parameters, counters of loops, members of enumerations."""
    stretches = [(name, last) for _, name, last in declared(verilog, 0, len(verilog.tokens), _FIXED)]
    stretches += [(at + 2, verilog.until(at + 2, ";")) for at in verilog.where("for")]
    openings = [verilog.until(at, "{") for at in verilog.where("enum")]
    stretches += [(opening + 1, verilog.close(opening)) for opening in openings]
    parts = [part for start, end in stretches for part in verilog.parts(start, end)]
    return {verilog.word(verilog.until_any(first, last, "=") - 1) for first, last in parts}


def _works_constants_out(verilog: Verilog, first: int, last: int, constants: set[str] | None) -> bool:
    """Whether an operator that depends on the width around it has constants on all sides."""
    words = [_OPENS, *_shape(verilog, first, last, constants), _OPENS]
    for before, word, after in zip(words, words[1:], words[2:], strict=False):
        unary = before not in (_CONSTANT, _OTHER)
        if after == _CONSTANT and (word in _UNARY if unary else word in _BINARY and before == _CONSTANT):
            return True
    return False


def _shape(verilog: Verilog, first: int, last: int, constants: set[str] | None) -> Iterator[str]:
    """Operators as they are, operands by their kind; without parentheses, and `!` and reductions before operands."""
    at, operand = first, False
    while at < last:
        token, begin = verilog.tokens[at], at
        if token.text in ("(", ")"):
            operand = token.text == ")"
        elif token.kind == "sign" and token.text != "{":
            if operand or token.text in _UNARY:
                yield token.text
            operand = False
        else:
            at = verilog.close(at) if token.text == "{" else at
            while verilog.word(at + 1) in ("[", "(", "::", "."):
                at = verilog.close(at + 1) if verilog.word(at + 1) in ("[", "(") else at + 2
            yield _CONSTANT if _is_constant(verilog, begin, at + 1, constants) else _OTHER
            operand = True
        at += 1


def _is_constant(verilog: Verilog, first: int, last: int, constants: set[str] | None) -> bool:
    names = [at for at in range(first, last) if verilog.tokens[at].is_name()]
    called_or_scope = {at for at in names if verilog.word(at + 1) in ("(", "::")}
    return constants is None or all(at in called_or_scope or verilog.word(at) in constants for at in names)
