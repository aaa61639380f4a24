"""Cells to LLVM text, one small function a kind.

Meanings are those of Yosys' cell library, as `evaluate.py` states them on plain integers. LLVM leaves
over-wide shifts undefined and traps on some divisions, so both are guarded here; an x of the source counts as
0.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..netlist import Cell, Word
from . import choices, division
from .site import CellSite, Emitter, pieces
from .words import Scope


def emit(scope: Scope, cell: Cell, operands: Sequence[Word]) -> str:
    """Write one cell's text (not `read`, which needs the layout) and return the LLVM name of its output."""
    width = scope.widths[cell.output]
    return EMITTERS[cell.kind](CellSite(cell, operands, scope, width)) if width else "0"


def _unary(at: CellSite) -> str:
    a = at.scope.extended(at.operand(0), at.width, at.signed)
    if at.cell.kind == "$not":
        return at.op(f"xor i{at.width} {a}, -1")
    return at.op(f"sub i{at.width} 0, {a}") if at.cell.kind == "$neg" else a


def _reduce(at: CellSite) -> str:
    word = at.operand(0)
    width, kind = word.width, at.cell.kind
    if width == 0:
        return "1" if kind in ("$reduce_and", "$reduce_xnor", "$logic_not") else "0"
    if kind == "$reduce_and":
        return at.truth(at.equals(word, (1 << width) - 1))
    if kind in ("$reduce_or", "$reduce_bool"):
        return at.truth(at.nonzero(word))
    if kind == "$logic_not":
        return at.truth(at.equals(word, 0))
    a = at.scope.word(word)
    ones = at.op(f"call i{width} @llvm.ctpop.i{width}(i{width} {a})")
    parity = at.scope.resize(ones, width, 1)
    return at.truth(parity if kind == "$reduce_xor" else at.op(f"xor i1 {parity}, 1"))


_OPS = {
    "$and": "and",
    "$or": "or",
    "$xor": "xor",
    "$xnor": "xor",
    "$add": "add",
    "$sub": "sub",
    "$mul": "mul",
}


def _binary(at: CellSite) -> str:
    a = at.scope.extended(at.operand(0), at.width, at.both_signed)
    b = at.scope.extended(at.operand(1), at.width, at.both_signed)
    result = at.op(f"{_OPS[at.cell.kind]} i{at.width} {a}, {b}")
    return at.op(f"xor i{at.width} {result}, -1") if at.cell.kind == "$xnor" else result


def _logic(at: CellSite) -> str:
    a, b = at.nonzero(at.operand(0)), at.nonzero(at.operand(1))
    return at.truth(at.op(f"{'and' if at.cell.kind == '$logic_and' else 'or'} i1 {a}, {b}"))


_COMPARE = {
    "$eq": "eq",
    "$eqx": "eq",
    "$ne": "ne",
    "$nex": "ne",
    "$lt": "lt",
    "$le": "le",
    "$ge": "ge",
    "$gt": "gt",
}


def _compare(at: CellSite) -> str:
    signed = at.both_signed
    width = max(at.operand(0).width, at.operand(1).width, 1)
    verb = _COMPARE[at.cell.kind]
    if verb not in ("eq", "ne"):
        verb = ("s" if signed else "u") + verb
    elif all(at.may_be_turned(side) for side in (at.operand(i).extend(width, signed) for i in (0, 1))):
        return at.truth(_equal_hidden(at, width, verb))
    a, b = (at.scope.extended(at.operand(i), width, signed) for i in (0, 1))
    return at.truth(at.op(f"icmp {verb} i{width} {a}, {b}"))


def _equal_hidden(at: CellSite, width: int, verb: str) -> str:
    """Equality of two words that may both be rotations (`Site.may_be_turned`)."""
    one, other = (pieces(at.operand(i).extend(width, at.both_signed)) for i in (0, 1))
    pairs = ((at.hidden(a), b) for a, b in zip(one, other, strict=True))
    differs = at.differing(((bits, name), at.scope.extended(b, bits, False)) for (bits, name), b in pairs)
    return differs if verb == "ne" else at.op(f"xor i1 {differs}, 1")


def _division(at: CellSite) -> str:
    """One bit wider than any operand where signed, so that the most negative number over -1 does not trap."""
    signed, kind = at.both_signed, at.cell.kind
    width = max(at.operand(0).width, at.operand(1).width, at.width) + signed
    a, b = (at.scope.extended(at.operand(i), width, signed) for i in (0, 1))
    zero = at.op(f"icmp eq i{width} {b}, 0")
    divisor = at.select(zero, "1", b, width)
    quotient = _quotient(at, width, a, divisor, signed)
    rest = at.op(f"sub i{width} {a}, {at.op(f'mul i{width} {quotient}, {divisor}')}")
    if signed and kind in ("$divfloor", "$modfloor"):
        uneven = at.op(f"icmp ne i{width} {rest}, 0")
        opposed = at.op(f"icmp slt i{width} {at.op(f'xor i{width} {rest}, {divisor}')}, 0")
        fix = at.op(f"and i1 {uneven}, {opposed}")
        quotient = at.op(f"sub i{width} {quotient}, {at.op(f'zext i1 {fix} to i{width}')}")
        rest = at.op(f"add i{width} {rest}, {at.select(fix, divisor, '0', width)}")
    result = quotient if kind in ("$div", "$divfloor") else rest
    return at.scope.resize(at.select(zero, "0", result, width), width, at.width)


def _quotient(at: CellSite, width: int, a: str, b: str, signed: bool) -> str:
    """Towards zero; b is not 0."""
    if width <= division.NATIVE:
        return at.op(f"{'s' if signed else 'u'}div i{width} {a}, {b}")
    if not signed:
        return at.op(division.call(width, a, b))
    below = [at.op(f"icmp slt i{width} {name}, 0") for name in (a, b)]
    sizes = [
        at.select(sign, at.op(f"sub i{width} 0, {name}"), name, width)
        for sign, name in zip(below, (a, b), strict=True)
    ]
    size = at.op(division.call(width, *sizes))
    return at.select(at.op(f"xor i1 {below[0]}, {below[1]}"), at.op(f"sub i{width} 0, {size}"), size, width)


def _power(at: CellSite) -> str:
    """Square and multiply over the bits of the exponent; a negative exponent leaves only powers of 1 and -1."""
    signed_b = bool(at.cell.int_param("B_SIGNED"))
    base_word, exponent_word = at.operand(0), at.operand(1)
    base = at.scope.extended(base_word, at.width, at.signed)
    result, square, count = "1", base, exponent_word.width
    for index in range(count):
        bit = at.scope.word(exponent_word.bit(index))
        result = at.select(bit, at.op(f"mul i{at.width} {result}, {square}"), result)
        square = at.op(f"mul i{at.width} {square}, {square}")
    if not signed_b or not count:
        return result
    # The full width of the base decides whether it is 1 or -1: the result's may have lost its upper bits.
    wide = max(base_word.width, at.width, 2)
    full = at.scope.extended(base_word, wide, at.signed)
    one = at.op(f"icmp eq i{wide} {full}, 1")
    minus = at.op(f"icmp eq i{wide} {full}, -1") if at.signed else "false"
    unit = at.op(f"or i1 {one}, {minus}")
    sign = at.select(at.scope.word(exponent_word.bit(0)), base, "1")
    return at.select(at.scope.word(exponent_word.bit(count - 1)), at.select(unit, sign, "0"), result)


def _shifted(at: CellSite, verb: str, value: str, width: int, amount: str, amount_width: int) -> str:
    """Shift `value` by an unsigned amount of any size; beyond the width only the fill is left."""
    if amount_width < width.bit_length():
        return at.op(f"{verb} i{width} {value}, {at.scope.resize(amount, amount_width, width)}")
    over = at.op(f"icmp uge i{amount_width} {amount}, {width}")
    inside = at.scope.resize(at.select(over, "0", amount, amount_width), amount_width, width)
    shifted = at.op(f"{verb} i{width} {value}, {inside}")
    fill = at.op(f"ashr i{width} {value}, {width - 1}") if verb == "ashr" else "0"
    return at.select(over, fill, shifted, width)


def _shift(at: CellSite) -> str:
    kind, amount = at.cell.kind, at.operand(1)
    left = kind in ("$shl", "$sshl")
    width = at.width if left else max(at.operand(0).width, at.width)
    a = at.scope.extended(at.operand(0), width, at.signed and kind != "$shiftx")
    if not amount.width:
        return at.scope.resize(a, width, at.width)
    b = at.scope.word(amount)
    verb = "shl" if left else "ashr" if kind == "$sshr" and at.signed else "lshr"
    result = _shifted(at, verb, a, width, b, amount.width)
    if kind in ("$shift", "$shiftx") and at.cell.int_param("B_SIGNED"):
        negative = at.op(f"icmp slt i{amount.width} {b}, 0")
        back = _shifted(at, "shl", a, width, at.op(f"sub i{amount.width} 0, {b}"), amount.width)
        result = at.select(negative, back, result, width)
    return at.scope.resize(result, width, at.width)


def _alu(at: CellSite) -> str:
    """A plus B, or plus its complement where BI is set, plus CI."""
    signed = at.both_signed
    a, b = (at.scope.extended(at.operand(i), at.width, signed) for i in (0, 1))
    carry, invert = (at.scope.extended(at.operand(i), at.width, False) for i in (2, 3))
    flip = at.op(f"sub i{at.width} 0, {invert}")
    addend = at.op(f"xor i{at.width} {b}, {flip}")
    return at.op(f"add i{at.width} {at.op(f'add i{at.width} {a}, {addend}')}, {carry}")


def _full_adder(at: CellSite) -> str:
    a, b, c = (at.scope.word(word) for word in at.operands)
    return at.op(f"xor i{at.width} {at.op(f'xor i{at.width} {a}, {b}')}, {c}")


def _carries(at: CellSite) -> str:
    """Bit k is generated at place k or propagated from below."""
    propagate, generate, carry = at.operands
    below = at.scope.word(carry)
    result = "0"
    for place in range(at.width):
        through = at.op(f"and i1 {at.scope.word(propagate.bit(place))}, {below}")
        below = at.op(f"or i1 {through}, {at.scope.word(generate.bit(place))}")
        moved = at.op(f"shl i{at.width} {at.scope.resize(below, 1, at.width)}, {place}")
        result = at.op(f"or i{at.width} {result}, {moved}")
    return result


EMITTERS: dict[str, Emitter] = {
    **dict.fromkeys(("$not", "$pos", "$buf", "$neg"), _unary),
    **dict.fromkeys(
        ("$reduce_and", "$reduce_or", "$reduce_xor", "$reduce_xnor", "$reduce_bool", "$logic_not"), _reduce
    ),
    **dict.fromkeys(_OPS, _binary),
    **dict.fromkeys(("$logic_and", "$logic_or"), _logic),
    **dict.fromkeys(_COMPARE, _compare),
    **dict.fromkeys(("$div", "$mod", "$divfloor", "$modfloor"), _division),
    "$pow": _power,
    **dict.fromkeys(("$shl", "$shr", "$sshl", "$sshr", "$shift", "$shiftx"), _shift),
    **dict.fromkeys(("$mux", "$bwmux"), choices.mux),
    "$pmux": choices.pmux,
    "$bmux": choices.bmux,
    "$demux": choices.demux,
    "$lut": choices.lut,
    "$sop": choices.sop,
    "$alu": _alu,
    "$fa": _full_adder,
    "$lcu": _carries,
    "$tribuf": choices.tribuf,
    "case": choices.case,
}
