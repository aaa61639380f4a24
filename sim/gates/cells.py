"""Cells to one-bit gates, one small function a kind; the meanings are those of `evaluate.py`."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from ..errors import UnsupportedError
from ..frozen import frozen
from ..netlist import Cell
from . import arithmetic
from .arithmetic import Bits, extend
from .builder import ONE, ZERO, Bit, Builder


@frozen
class GateMaker:
    """One cell with the bits of its operands."""

    cell: Cell
    operands: Sequence[Bits]
    to: Builder
    width: int  # of the result

    def param(self, name: str) -> int:
        return self.cell.int_param(name)

    @property
    def signed(self) -> bool:
        return bool(self.param("A_SIGNED"))

    @property
    def both_signed(self) -> bool:
        return bool(self.param("A_SIGNED") and self.param("B_SIGNED"))

    def pair(self, width: int) -> tuple[Bits, Bits]:
        """Both operands at a width, signed if both are."""
        a, b = (extend(bits, width, self.both_signed) for bits in self.operands[:2])
        return a, b

    def widest(self, least: int = 0) -> int:
        return max(*map(len, self.operands[:2]), least)


def draw(site: GateMaker) -> Bits:
    """The bits of a cell's output (not of `read`, which needs the memories)."""
    recipe = RECIPES.get(site.cell.kind)
    if recipe is None:
        raise UnsupportedError(
            f"cell kind {site.cell.kind} cannot be turned into gates",
            place=site.cell.src,
            remedy="rewrite it with the kinds of sim/netlist.py",
        )
    return extend(recipe(site), site.width, False)


def _wire(at: GateMaker) -> Bits:
    return [at.to.buffer(bit) for bit in extend(at.operands[0], at.width, at.signed)]


def _not(at: GateMaker) -> Bits:
    return arithmetic.inverted(at.to, extend(at.operands[0], at.width, at.signed))


def _negate(at: GateMaker) -> Bits:
    return arithmetic.negate(at.to, extend(at.operands[0], at.width, at.signed))


def _reduce(at: GateMaker) -> Bits:
    kind, bits = at.cell.kind, at.operands[0]
    if kind == "$reduce_and":
        return [at.to.all_of(bits)]
    if kind in ("$reduce_xor", "$reduce_xnor"):
        parity = at.to.parity(bits)
        return [parity if kind == "$reduce_xor" else at.to.inverter(parity)]
    found = at.to.any_of(bits)
    return [at.to.inverter(found) if kind == "$logic_not" else found]


def _bitwise(at: GateMaker) -> Bits:
    gates = {"$and": at.to.both, "$or": at.to.either}
    gate = gates.get(at.cell.kind, at.to.differ)
    found = [gate(a, b) for a, b in zip(*at.pair(at.width), strict=True)]
    return arithmetic.inverted(at.to, found) if at.cell.kind == "$xnor" else found


def _logic(at: GateMaker) -> Bits:
    a, b = (at.to.any_of(bits) if len(bits) != 1 else bits[0] for bits in at.operands)
    return [at.to.both(a, b) if at.cell.kind == "$logic_and" else at.to.either(a, b)]


def _compare(at: GateMaker) -> Bits:
    kind, (a, b) = at.cell.kind, at.pair(at.widest())
    if kind in ("$eq", "$eqx", "$ne", "$nex"):
        same = arithmetic.equal(at.to, a, b)
        return [same if kind in ("$eq", "$eqx") else at.to.inverter(same)]
    if kind in ("$gt", "$le"):
        a, b = b, a
    found = arithmetic.less(at.to, a, b, at.both_signed)
    return [found if kind in ("$lt", "$gt") else at.to.inverter(found)]


def _add(at: GateMaker) -> Bits:
    a, b = at.pair(at.width)
    return (at.to.add(a, b) if at.cell.kind == "$add" else arithmetic.subtract(at.to, a, b))[0]


def _multiply(at: GateMaker) -> Bits:
    return arithmetic.multiply(at.to, *at.pair(at.width))


def _division(at: GateMaker) -> Bits:
    """One bit wider than any operand where signed: the most negative number over -1 does not fit else."""
    kind = at.cell.kind
    width = at.widest(at.width) + at.both_signed
    floor = kind in ("$divfloor", "$modfloor")
    quotient, rest = arithmetic.signed_division(at.to, *at.pair(width), at.both_signed, floor)
    return quotient if kind in ("$div", "$divfloor") else rest


def _power(at: GateMaker) -> Bits:
    base, exponent = at.operands
    wide = extend(base, max(len(base), at.width, 2), at.signed)
    result = arithmetic.power(at.to, wide, exponent, at.width)
    if not at.param("B_SIGNED") or not exponent:
        return result
    # To a negative power, 1 and -1 are themselves or 1, and all else is 0.
    rest = at.to.any_of(wide[1:])
    unit = at.to.both(wide[0], at.to.inverter(rest))
    if at.signed:
        unit = at.to.either(unit, at.to.all_of(wide))
    odd = at.to.choose_all(exponent[0], extend([ONE], at.width, False), wide[: at.width])
    return at.to.choose_all(exponent[-1], result, at.to.both_all(odd, unit))


def _shift(at: GateMaker) -> Bits:
    kind, amount = at.cell.kind, at.operands[1]
    left = kind in ("$shl", "$sshl")
    width = at.width if left else max(len(at.operands[0]), at.width)
    a = extend(at.operands[0], width, at.signed and kind != "$shiftx")
    fill = a[-1] if kind == "$sshr" and at.signed and a else ZERO
    result = arithmetic.shift(at.to, a, amount, fill, left)
    if kind in ("$shift", "$shiftx") and at.param("B_SIGNED") and amount:
        back = arithmetic.shift(at.to, a, arithmetic.negate(at.to, amount), ZERO, True)
        result = at.to.choose_all(amount[-1], result, back)
    return result


def _mux(at: GateMaker) -> Bits:
    a, b, select = at.operands
    if at.cell.kind == "$mux":
        return at.to.choose_all(select[0], a, b)
    return [at.to.choose(*bits) for bits in zip(select, a, b, strict=True)]


def _pmux(at: GateMaker) -> Bits:
    result, choices, select = at.operands
    for place, bit in enumerate(select):
        result = at.to.choose_all(bit, result, choices[place * at.width : (place + 1) * at.width])
    return result


def _bmux(at: GateMaker) -> Bits:
    words, select = at.operands
    leaves = {n: words[n * at.width : (n + 1) * at.width] for n in range(1 << len(select))}
    return at.to.tree(select, leaves, [ZERO] * at.width)


def _demux(at: GateMaker) -> Bits:
    value, select = at.operands
    if not select:
        return list(value)
    lines = at.to.decode(select, range(1 << len(select)))
    return [bit for number in range(1 << len(select)) for bit in at.to.both_all(value, lines[number])]


def _lut(at: GateMaker) -> Bits:
    table, select = at.param("LUT"), at.operands[0]
    leaves = {number: [ONE if table >> number & 1 else ZERO] for number in range(1 << len(select))}
    return at.to.tree(select, leaves, [ZERO])


def _sop(at: GateMaker) -> Bits:
    table, bits = at.param("TABLE"), at.operands[0]
    inverse = arithmetic.inverted(at.to, bits)
    products = []
    for row in range(at.param("DEPTH")):
        pairs = [table >> 2 * (row * len(bits) + place) & 3 for place in range(len(bits))]
        literals = [inverse[place] for place, pair in enumerate(pairs) if pair & 1]
        literals += [bits[place] for place, pair in enumerate(pairs) if pair & 2]
        products.append(at.to.all_of(literals))
    return [at.to.any_of(products)]


def _alu(at: GateMaker) -> Bits:
    a, b = at.pair(at.width)
    (carry,), (invert,) = at.operands[2:]
    return at.to.add(a, [at.to.differ(bit, invert) for bit in b], carry)[0]


def _full_adder(at: GateMaker) -> Bits:
    return [at.to.differ(at.to.differ(a, b), c) for a, b, c in zip(*at.operands, strict=True)]


def _carries(at: GateMaker) -> Bits:
    propagate, generate, (below,) = at.operands
    result = []
    for through, made in zip(propagate, generate, strict=True):
        below = at.to.either(made, at.to.both(through, below))
        result.append(below)
    return result


def _tribuf(at: GateMaker) -> Bits:
    value, (enable,) = at.operands
    return at.to.both_all(value, enable)


_TREE_BITS = 8


def _case(at: GateMaker) -> Bits:
    """A tree where the patterns name most values of the selector, else a choice for each case, the last first."""
    select, *words = at.operands
    patterns = at.cell.params["patterns"]
    assert isinstance(patterns, tuple)
    plain = all("-" not in pattern for case in patterns for pattern in case)
    count = sum(map(len, patterns))
    if plain and 1 <= len(select) <= _TREE_BITS and 2 * count >= 1 << len(select):
        leaves = dict.fromkeys(range(1 << len(select)), words[-1])
        for case, word in reversed(list(zip(patterns, words, strict=False))):
            leaves |= dict.fromkeys((int(pattern, 2) for pattern in case), word)
        return at.to.tree(select, leaves, words[-1])
    inverse = arithmetic.inverted(at.to, select)
    result = words[-1]
    for case, word in reversed(list(zip(patterns, words, strict=False))):
        met = at.to.any_of([_fits(at.to, select, inverse, pattern) for pattern in case])
        result = at.to.choose_all(met, result, word)
    return result


def _fits(to: Builder, select: Bits, inverse: Bits, pattern: str) -> Bit:
    digits = list(enumerate(reversed(pattern)))
    return to.all_of([(select if digit == "1" else inverse)[at] for at, digit in digits if digit != "-"])


RECIPES: Mapping[str, Callable[[GateMaker], Bits]] = {
    **dict.fromkeys(("$pos", "$buf"), _wire),
    "$not": _not,
    "$neg": _negate,
    **dict.fromkeys(
        ("$reduce_and", "$reduce_or", "$reduce_xor", "$reduce_xnor", "$reduce_bool", "$logic_not"), _reduce
    ),
    **dict.fromkeys(("$and", "$or", "$xor", "$xnor"), _bitwise),
    **dict.fromkeys(("$logic_and", "$logic_or"), _logic),
    **dict.fromkeys(("$eq", "$eqx", "$ne", "$nex", "$lt", "$le", "$ge", "$gt"), _compare),
    **dict.fromkeys(("$add", "$sub"), _add),
    "$mul": _multiply,
    **dict.fromkeys(("$div", "$mod", "$divfloor", "$modfloor"), _division),
    "$pow": _power,
    **dict.fromkeys(("$shl", "$shr", "$sshl", "$sshr", "$shift", "$shiftx"), _shift),
    **dict.fromkeys(("$mux", "$bwmux"), _mux),
    "$pmux": _pmux,
    "$bmux": _bmux,
    "$demux": _demux,
    "$lut": _lut,
    "$sop": _sop,
    "$alu": _alu,
    "$fa": _full_adder,
    "$lcu": _carries,
    "$tribuf": _tribuf,
    "case": _case,
}
