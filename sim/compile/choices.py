"""Cells that choose as LLVM text: multiplexers, look-up tables, sums of products, cases."""

from __future__ import annotations

from ..netlist import Word
from .site import CellSite

#: Values of a netlist from which on selects of single bits are written as gates.
MANY = 256


def mux(at: CellSite) -> str:
    a, b, s = (at.scope.word(word) for word in at.operands)
    if at.cell.kind == "$mux":
        # Selects are faster where there are few; in few, no trees were seen that take the code generator for ever.
        many = len(at.scope.widths) > MANY
        return at.gated(s, b, a) if at.width == 1 and many else at.select(s, b, a)
    kept = at.op(f"and i{at.width} {a}, {at.op(f'xor i{at.width} {s}, -1')}")
    return at.op(f"or i{at.width} {kept}, {at.op(f'and i{at.width} {b}, {s}')}")


def pmux(at: CellSite) -> str:
    """The highest select bit that is set wins; Yosys makes them one-hot."""
    result = at.scope.word(at.operand(0))
    choices, select = at.operand(1), at.operand(2)
    for index in range(select.width):
        choice = at.scope.word(choices.cut(index * at.width, at.width))
        result = at.select(at.scope.word(select.bit(index)), choice, result)
    return result


def _tree(at: CellSite, leaves: list[str], select: Word) -> str:
    """A binary tree of selects: the depth is the width of the selector, not the number of leaves."""
    for index in range(select.width):
        bit = at.scope.word(select.bit(index))
        pairs = zip(leaves[::2], leaves[1::2], strict=True)
        leaves = [low if low == high else at.select(bit, high, low) for low, high in pairs]
    return leaves[0]


#: Bits of a selector beyond which a choice among words side by side is a shift: a tree would not end in LLVM.
_TREE_DEPTH = 6


def bmux(at: CellSite) -> str:
    words, select = at.operand(0), at.operand(1)
    if select.width > _TREE_DEPTH:
        wide = words.width
        place = at.op(f"mul i{wide} {at.scope.extended(select, wide, False)}, {at.width}")
        return at.scope.resize(at.op(f"lshr i{wide} {at.scope.word(words)}, {place}"), wide, at.width)
    leaves = [at.scope.word(words.cut(i * at.width, at.width)) for i in range(1 << select.width)]
    return _tree(at, leaves, select)


def demux(at: CellSite) -> str:
    value, select = at.operand(0), at.operand(1)
    a = at.scope.extended(value, at.width, False)
    wide = max(at.width, select.width + value.width.bit_length() + 1)
    amount = at.op(f"mul i{wide} {at.scope.extended(select, wide, False)}, {value.width}")
    return at.op(f"shl i{at.width} {a}, {at.scope.resize(amount, wide, at.width)}") if select.width else a


def lut(at: CellSite) -> str:
    table, count = at.cell.int_param("LUT"), at.operand(0).width
    rows = 1 << count
    index = at.scope.extended(at.operand(0), max(rows, count), False)
    wide = max(rows, count)
    return at.truth(at.scope.resize(at.op(f"lshr i{wide} {table & (1 << rows) - 1}, {index}"), wide, 1))


def sop(at: CellSite) -> str:
    table, depth, width = at.cell.int_param("TABLE"), at.cell.int_param("DEPTH"), at.operand(0).width
    a = at.scope.word(at.operand(0))
    result = "0"
    for term in range(depth):
        pairs = [table >> 2 * (term * width + bit) & 3 for bit in range(width)]
        zeros = sum(1 << bit for bit, pair in enumerate(pairs) if pair & 1)
        ones = sum(1 << bit for bit, pair in enumerate(pairs) if pair & 2)
        if width:
            high = at.op(f"and i{width} {a}, {zeros}")
            low = at.op(f"and i{width} {at.op(f'xor i{width} {a}, -1')}, {ones}")
            wrong = at.op(f"or i{width} {high}, {low}")
        else:
            wrong = "0"
        met = at.op(f"icmp eq i{max(width, 1)} {wrong}, 0")
        result = at.op(f"or i1 {result}, {met}")
    return at.truth(result)


def tribuf(at: CellSite) -> str:
    return at.select(at.scope.word(at.operand(1)), at.scope.word(at.operand(0)), "0")


def _match(at: CellSite, select: Word, pattern: str) -> str:
    """Whether the selector matches a pattern (highest bit first, `-` for any)."""
    width = select.width
    care = int("0" + "".join("0" if c == "-" else "1" for c in pattern), 2)
    want = int("0" + "".join("1" if c == "1" else "0" for c in pattern), 2)
    if not care:
        return "true"
    if care == (1 << width) - 1:
        return at.equals(select, want)
    masked = at.op(f"and i{width} {at.scope.word(select)}, {care}")
    return at.op(f"icmp eq i{width} {masked}, {want}")


#: Bits of a selector up to which cases that fill half of its values are a tree: 5 times as fast as one after another.
_TREE_BITS = 12


def case(at: CellSite) -> str:
    select, *choices = at.operands
    patterns = at.cell.params["patterns"]
    assert isinstance(patterns, tuple)
    names = [at.scope.word(choice) for choice in choices]
    plain = all("-" not in pattern for case in patterns for pattern in case)
    count = sum(len(case) for case in patterns)
    if plain and 1 <= select.width <= _TREE_BITS and 2 * count >= 1 << select.width:
        leaves = [names[-1]] * (1 << select.width)
        for case, name in reversed(list(zip(patterns, names, strict=False))):
            for pattern in case:
                leaves[int(pattern, 2)] = name
        return _tree(at, leaves, select)
    result = names[-1]
    for case, name in reversed(list(zip(patterns, names, strict=False))):
        for pattern in case:
            result = at.select(_match(at, select, pattern), name, result)
    return result
