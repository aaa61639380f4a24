"""What a cell's output is when some of its operands are known: a constant, or a word of other values.

Used where text is written for known inputs or for one value of a control word, so that only what is left to
compute is written, and so that the next value of a control word is known, or known to be one of a few.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ..evaluate import evaluate
from ..netlist import Cell, Const, Slice, Word


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


def options(
    word: Word, made_by: Callable[[int], tuple[Cell, Sequence[Word]] | None], most: int
) -> set[int] | None:
    """The constants that a word can be, at most `most` of them, or None if it is not known to be one of so few.

    `made_by` gives the cell that computes a value, with its resolved operands. Follows muxes and cases, with
    a worklist.
    """
    found: set[int] = set()
    seen: set[Word] = set()
    work = [word]
    while work:
        current = work.pop()
        if current in seen:
            continue
        seen.add(current)
        constant = current.as_const()
        if constant is not None:
            found.add(constant.bits)
        else:
            choices = _choices(current, made_by)
            if choices is None:
                return None
            work.extend(choices)
        if len(found) > most or len(seen) > 8 * most:
            return None
    return found


def _choices(word: Word, made_by: Callable[[int], tuple[Cell, Sequence[Word]] | None]) -> list[Word] | None:
    """The words of which this word is one, if a mux or a case computes it or one part of it."""
    at = 0
    for part in word.parts:
        made = made_by(part.value) if isinstance(part, Slice) else None
        if made is not None and isinstance(part, Slice):
            cell, operands = made
            if cell.kind in ("$mux", "case"):
                choices = operands[:2] if cell.kind == "$mux" else operands[1:]
                low, high = word.cut(0, at), word.cut(at + part.width, word.width - at - part.width)
                return [low + choice.cut(part.low, part.width) + high for choice in choices]
        if not isinstance(part, Const):
            return None
        at += part.width
    return None


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
