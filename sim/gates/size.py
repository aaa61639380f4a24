"""How many gates a netlist's arithmetic comes to, about, before any of it is drawn."""

from __future__ import annotations

from math import isqrt

from ..errors import UnsupportedError
from ..netlist import Cell, Netlist

#: Gates that the arithmetic of one netlist may come to; some tens of seconds of drawing.
MOST_GATES = 400_000
#: Gates for each pair of bits: an adder's cell and an `and` in a product, a subtractor's and a choice in a quotient.
_PAIR = {"$mul": 4, "$div": 7, "$mod": 7, "$divfloor": 7, "$modfloor": 7, "$pow": 1}
_SAID = {"$mul": "product", "$pow": "power"}


def arithmetic_gates(netlist: Netlist, cell: Cell) -> int:
    """About how many gates a product, quotient or power takes; 0 for any other cell."""
    if cell.kind not in _PAIR or any(word.as_const() for word in cell.operands):
        return 0
    width = netlist.widths[cell.output]
    first, second = (word.width for word in cell.operands)
    if cell.kind == "$pow":  # a square and a product for each bit of the exponent
        return 2 * second * width * width * _PAIR[cell.kind]
    return _PAIR[cell.kind] * min(first, max(width, second)) * second


def refuse_large_arithmetic(netlist: Netlist) -> None:
    """Raises UnsupportedError where the arithmetic comes to more than MOST_GATES."""
    sizes = {number: arithmetic_gates(netlist, cell) for number, cell in enumerate(netlist.cells)}
    if sum(sizes.values()) <= MOST_GATES:
        return
    cell = netlist.cells[max(sizes, key=lambda number: sizes[number])]
    said, width = _SAID.get(cell.kind, "quotient"), max(word.width for word in cell.operands)
    able = isqrt(MOST_GATES // _PAIR[cell.kind])
    if cell.kind == "$pow":
        able = round((MOST_GATES / (2 * _PAIR[cell.kind])) ** (1 / 3))
    raise UnsupportedError(
        f"arithmetic of some {sum(sizes.values()):,} gates, most of them in a {said} of {width} bits",
        place=cell.src,
        remedy=f"at most {MOST_GATES:,} are followed, as for one {said} of {able} bits",
    )
