"""What each cell means, on plain Python integers: the judge of the compiler.

The meanings are those of Yosys' cell library (its `simlib.v` and its constant folder; a test asks both).
Where the library answers x, a run has two values only, so each case is settled here:

* 0 is a division or remainder by zero, zero to a negative power, a bit of `$shiftx` from outside its
  operand, the high impedance of `$tribuf`, and an undefined bit of a constant or table. (Amaranth, too,
  makes a division by zero 0, by a `$mux` of its own behind the `$divfloor`.)
* `$pmux` with several bits of S set takes the highest of them: Yosys puts the first case of a
  `parallel_case` there, so this is what a Verilog simulator shows.

The output is Y, but for `$lcu`, whose output is CO. X and CO of `$alu` and X of `$fa` are no part of the
record: the reader makes them from other cells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from .errors import NetlistError, UnsupportedError
from .netlist import Param


class _Evaluation:
    """One cell with its operands, as the meanings below ask for them."""

    def __init__(
        self,
        kind: str,
        params: Mapping[str, Param],
        operands: Sequence[int],
        widths: Sequence[int],
        width: int,
    ) -> None:
        self.kind, self.params, self.operands, self.widths, self.width = kind, params, operands, widths, width

    def param(self, name: str) -> int:
        found = self.params.get(name, 0)
        if not isinstance(found, int):
            raise NetlistError(f"cell {self.kind}: parameter {name} is {found!r}", remedy="give an integer")
        return found

    @property
    def both_signed(self) -> bool:
        """Two operands are taken as signed only together."""
        return bool(self.param("A_SIGNED") and self.param("B_SIGNED"))

    def number(self, index: int, signed: bool) -> int:
        """Operand `index` as the number that its bits stand for."""
        value, width = self.operands[index], self.widths[index]
        return value - (1 << width) if signed and width and value >> (width - 1) & 1 else value

    @property
    def a(self) -> int:
        """The operand of a unary cell, or the left one of a shift or power, with a sign of its own."""
        return self.number(0, bool(self.param("A_SIGNED")))

    @property
    def pair(self) -> tuple[int, int]:
        return self.number(0, self.both_signed), self.number(1, self.both_signed)


def evaluate(
    kind: str, params: Mapping[str, Param], operands: Sequence[int], widths: Sequence[int], width: int
) -> int:
    """The output of one cell, 0 to 2**width - 1.

    `operands` are unsigned integers in the order of `kinds.PORTS`, `widths` their bits, `width` the bits of the
    output. For `case` they are the selector, a word a case, the default; for `read` the address and then
    every row of the memory, with `params["offset"]` the address of the first row.
    """
    meaning = MEANINGS.get(kind)
    if meaning is None:
        raise UnsupportedError(
            f"cell kind {kind} has no meaning here", remedy="rewrite it with the kinds of sim/netlist.py"
        )
    return meaning(_Evaluation(kind, params, operands, widths, width)) & ((1 << width) - 1)


def _moved_right(value: int, by: int, width: int) -> int:
    """`value` to the right by `by`, to the left where that is negative; zeros come in on both sides."""
    # Everything beyond the output is lost: no need to build it.
    return value >> by if by >= 0 else value << min(-by, width)


def _extended_left(q: _Evaluation) -> int:
    """A with its sign, as wide as the wider of operand and output."""
    return q.a & ((1 << max(q.widths[0], q.width)) - 1)


def _shift(q: _Evaluation) -> int:
    """A signed B may be negative; zeros come in above the wider of A and output, even for a signed A."""
    return _moved_right(_extended_left(q), q.number(1, bool(q.param("B_SIGNED"))), q.width)


def _shiftx(q: _Evaluation) -> int:
    """`A[B +: width]`, 0 outside of A."""
    return _moved_right(q.operands[0], q.number(1, bool(q.param("B_SIGNED"))), q.width)


def _divide(q: _Evaluation) -> int:
    """The quotient, towards zero."""
    a, b = q.pair
    if b == 0:
        return 0
    quotient = abs(a) // abs(b)
    return -quotient if (a < 0) != (b < 0) else quotient


def _remainder(q: _Evaluation) -> int:
    """What a quotient towards zero leaves: it has the sign of A."""
    a, b = q.pair
    if b == 0:
        return 0
    rest = abs(a) % abs(b)
    return -rest if a < 0 else rest


def _divide_floor(q: _Evaluation) -> int:
    a, b = q.pair
    return a // b if b else 0


def _remainder_floor(q: _Evaluation) -> int:
    """What a quotient towards minus infinity leaves: it has the sign of B."""
    a, b = q.pair
    return a % b if b else 0


def _power(q: _Evaluation) -> int:
    """A to the B; base and exponent each have a sign of their own. IEEE 1364-2005, table 5-6."""
    base, exponent = q.a, q.number(1, bool(q.param("B_SIGNED")))
    if exponent >= 0:
        return pow(base, exponent, 1 << q.width)
    if base in (1, -1):
        return base if exponent & 1 else 1
    return 0


def _chosen(q: _Evaluation) -> int:
    """A, or the part of B for the highest bit of S that is set."""
    a, b, s = q.operands
    return b >> (s.bit_length() - 1) * q.width if s else a


def _bitwise_chosen(q: _Evaluation) -> int:
    a, b, s = q.operands
    return (a & ~s) | (b & s)


def _sum_of_products(q: _Evaluation) -> int:
    """1 if A fits a row of the table: two bits for each bit of A, the low one asks for 0, the high for 1."""
    a, table, width = q.operands[0], q.param("TABLE"), q.param("WIDTH")

    def fits(row: int) -> bool:
        pairs = (table >> 2 * (width * row + bit) for bit in range(width))
        return not any(pair & (1 if a >> bit & 1 else 2) for bit, pair in enumerate(pairs))

    return int(any(fits(row) for row in range(q.param("DEPTH"))))


def _add_with_carry(q: _Evaluation) -> int:
    a, b = q.pair
    return a + (~b if q.operands[3] else b) + q.operands[2]


def _carries(q: _Evaluation) -> int:
    """Bit k: the carry out of place k, generated there or propagated from below."""
    propagate, generate, carry = q.operands
    result = 0
    for place in range(q.width):
        carry = generate >> place & 1 | propagate >> place & carry & 1
        result |= carry << place
    return result


def _case(q: _Evaluation) -> int:
    """The word of the first case of which a pattern fits the selector; the last word if none does."""
    selector, *words = q.operands
    cases = q.params["patterns"]
    if not isinstance(cases, tuple):
        raise NetlistError(
            f"cell case: parameter patterns is {cases!r}", remedy="give a tuple of patterns a case"
        )
    for patterns, word in zip(cases, words, strict=False):
        if any(_fits(pattern, selector) for pattern in patterns):
            return word
    return words[-1]


def _fits(pattern: str, selector: int) -> bool:
    bits = enumerate(reversed(pattern))
    return all(wanted in ("-", str(selector >> place & 1)) for place, wanted in bits)


def _read(q: _Evaluation) -> int:
    address, *rows = q.operands
    row = address - q.param("offset")
    return rows[row] if 0 <= row < len(rows) else 0


def _ones(q: _Evaluation) -> bool:
    return q.operands[0] == (1 << q.widths[0]) - 1


def _parity(q: _Evaluation) -> int:
    return q.operands[0].bit_count() & 1


def _on_pair(operation: Callable[[int, int], int]) -> Callable[[_Evaluation], int]:
    """An operation on both operands, signed if both are."""
    return lambda q: operation(*q.pair)


#: The one table of meanings; `evaluate` cuts each answer to the width of the output.
MEANINGS: Mapping[str, Callable[[_Evaluation], int]] = {
    "$not": lambda q: ~q.a,
    "$pos": lambda q: q.a,
    "$buf": lambda q: q.a,
    "$neg": lambda q: -q.a,
    "$logic_not": lambda q: not q.operands[0],
    "$reduce_and": _ones,
    "$reduce_or": lambda q: q.operands[0] != 0,
    "$reduce_xor": _parity,
    "$reduce_xnor": lambda q: 1 - _parity(q),
    "$reduce_bool": lambda q: q.operands[0] != 0,
    "$and": _on_pair(lambda a, b: a & b),
    "$or": _on_pair(lambda a, b: a | b),
    "$xor": _on_pair(lambda a, b: a ^ b),
    "$xnor": _on_pair(lambda a, b: ~(a ^ b)),
    "$logic_and": _on_pair(lambda a, b: bool(a and b)),
    "$logic_or": _on_pair(lambda a, b: bool(a or b)),
    "$shl": lambda q: _moved_right(q.a, -q.operands[1], q.width),
    "$sshl": lambda q: _moved_right(q.a, -q.operands[1], q.width),
    "$shr": lambda q: _extended_left(q) >> q.operands[1],
    "$sshr": lambda q: q.a >> q.operands[1],
    "$shift": _shift,
    "$shiftx": _shiftx,
    "$lt": _on_pair(lambda a, b: a < b),
    "$le": _on_pair(lambda a, b: a <= b),
    "$eq": _on_pair(lambda a, b: a == b),
    "$ne": _on_pair(lambda a, b: a != b),
    "$eqx": _on_pair(lambda a, b: a == b),
    "$nex": _on_pair(lambda a, b: a != b),
    "$ge": _on_pair(lambda a, b: a >= b),
    "$gt": _on_pair(lambda a, b: a > b),
    "$add": _on_pair(lambda a, b: a + b),
    "$sub": _on_pair(lambda a, b: a - b),
    "$mul": _on_pair(lambda a, b: a * b),
    "$div": _divide,
    "$mod": _remainder,
    "$divfloor": _divide_floor,
    "$modfloor": _remainder_floor,
    "$pow": _power,
    "$mux": lambda q: q.operands[1] if q.operands[2] else q.operands[0],
    "$pmux": _chosen,
    "$bwmux": _bitwise_chosen,
    "$bmux": lambda q: q.operands[0] >> q.operands[1] * q.width,
    "$demux": lambda q: q.operands[0] << q.operands[1] * q.widths[0],
    "$lut": lambda q: q.param("LUT") >> q.operands[0] & 1,
    "$sop": _sum_of_products,
    "$alu": _add_with_carry,
    "$fa": lambda q: q.operands[0] ^ q.operands[1] ^ q.operands[2],
    "$lcu": _carries,
    "$tribuf": lambda q: q.operands[0] if q.operands[1] else 0,
    "case": _case,
    "read": _read,
}
