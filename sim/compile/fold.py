"""What a cell's output is when some of its operands are known: a constant, or a word of other values.

Used where text is written for known inputs or for one value of a control word, so that only what is left to
compute is written.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ..evaluate import evaluate
from ..netlist import Cell, Const, Word

#: A word of more bits is not taken apart: to put it together again costs more than the gate.
_MOST_PARTS = 64


def fold(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    """The output of a cell as a word, or None if it must be computed; `operands` are the resolved ones."""
    if cell.kind in ("read", "$tribuf"):
        return None
    constants = [word.as_const() for word in operands]
    if all(constant is not None for constant in constants):
        numbers = [constant.bits for constant in constants if constant is not None]
        widths = [word.width for word in operands]
        return Word.const(evaluate(cell.kind, cell.params, numbers, widths, width), width)
    rule = _RULES.get(cell.kind)
    return rule(cell, operands, width) if rule else None


def _mux(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    low, high, select = operands
    constant = select.as_const()
    if constant is not None:
        return high if constant.bits else low
    return low if low == high else None


def _pmux(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    select = operands[2].as_const()
    if select is None:
        return None
    return operands[1].cut((select.bits.bit_length() - 1) * width, width) if select.bits else operands[0]


def _case(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    select = operands[0].as_const()
    patterns = cell.params["patterns"]
    assert isinstance(patterns, tuple)
    if select is None:
        return operands[1] if all(choice == operands[1] for choice in operands[2:]) else None
    for case, choice in zip(patterns, operands[1:], strict=False):
        for pattern in case:
            digits = enumerate(reversed(pattern))
            if all(digit in ("-", str(select.bits >> place & 1)) for place, digit in digits):
                return choice
    return operands[-1]


def _bitwise(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    """And, or: bit by bit, if every bit has one operand that decides it or leaves the other."""
    if operands[0].as_const() is None and operands[1].as_const() is None:
        return None
    signed = bool(cell.int_param("A_SIGNED") and cell.int_param("B_SIGNED"))
    a, b = (word.extend(width, signed) for word in operands)
    constant, other = (a.as_const(), b) if a.as_const() is not None else (b.as_const(), a)
    assert constant is not None
    keeps = 1 if cell.kind == "$and" else 0
    if constant.bits in (0, (1 << width) - 1):
        return other if constant.bits & 1 == keeps else Word.const(constant.bits, width)
    if width > _MOST_PARTS:
        return None
    return Word.of(
        part
        for index, bit in enumerate(other.bits())
        for part in (bit.parts if constant.bits >> index & 1 == keeps else (Const(1 - keeps, 1),))
    )


def _logic(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    """A logical and or or of which one side decides."""
    for word in operands:
        constant = word.as_const()
        if constant is not None and bool(constant.bits) == (cell.kind == "$logic_or"):
            return Word.const(int(cell.kind == "$logic_or"), width)
    return None


def _reduce(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    """A reduction that one constant bit decides."""
    decides = 0 if cell.kind == "$reduce_and" else 1
    for part in operands[0].parts:
        if isinstance(part, Const):
            bits = part.bits if decides else ~part.bits & (1 << part.width) - 1
            if bits:
                return Word.const(int(cell.kind not in ("$reduce_and", "$logic_not")), width)
    return None


def _equal(cell: Cell, operands: Sequence[Word], width: int) -> Word | None:
    """A comparison that constant bits decide because they differ."""
    a, b = operands
    if a.width != b.width:
        return None
    for one, other in zip(a.bits(), b.bits(), strict=True):
        left, right = one.as_const(), other.as_const()
        if left is not None and right is not None and left.bits != right.bits:
            return Word.const(int(cell.kind in ("$ne", "$nex")), width)
    return None


_RULES: dict[str, Callable[[Cell, Sequence[Word], int], Word | None]] = {
    "$mux": _mux,
    "$pmux": _pmux,
    "case": _case,
    **dict.fromkeys(("$and", "$or"), _bitwise),
    **dict.fromkeys(("$logic_and", "$logic_or"), _logic),
    **dict.fromkeys(("$reduce_and", "$reduce_or", "$reduce_bool", "$logic_not"), _reduce),
    **dict.fromkeys(("$eq", "$ne", "$eqx", "$nex"), _equal),
}
