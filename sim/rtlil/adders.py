"""Yosys' cells that are made of others: of several outputs, sums of many terms, renamed bits.

Source: the models of Yosys' cell library (`simlib.v`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from ..netlist import Param
from .lower import Design, PlacedCell
from .records import Bits
from .sums import multiply_accumulate, multiply_add

_PLAIN: Mapping[str, Param] = {"A_SIGNED": 0, "B_SIGNED": 0}


def _two(design: Design, site: PlacedCell, kind: str, a: Bits, b: Bits) -> Bits:
    return design.emit(kind, (a, b), len(a), _PLAIN, name=site.title, src=site.src)


def _carries(design: Design, site: PlacedCell, a: Bits, b: Bits, carry: Bits) -> tuple[Bits, Bits, Bits]:
    """Exclusive or, sum and the carry out of each place of two words of one width.

    Where the bits of a place differ, it passes its carry on, and that is 1 where the sum's bit is 0.
    """
    two = partial(_two, design, site)
    differ = two("$xor", a, b)
    total = two("$add", two("$add", a, b), carry)
    passed = two("$and", differ, design.invert(total, site.src))
    return differ, total, two("$or", two("$and", a, b), passed)


def _alu(design: Design, site: PlacedCell) -> dict[str, Bits]:
    width = site.number("Y_WIDTH")
    signed: dict[str, Param] = {"A_SIGNED": site.number("A_SIGNED") & site.number("B_SIGNED")}
    a, b = (
        design.emit("$pos", (site.port(name),), width, signed, name=site.title, src=site.src) for name in "AB"
    )
    b = _two(design, site, "$xor", b, site.port("BI", 1) * width)
    x, y, co = _carries(design, site, a, b, site.port("CI", 1))
    return {"X": x, "Y": y, "CO": co}


def _lookahead(design: Design, site: PlacedCell) -> dict[str, Bits]:
    # A place that generates or propagates a carry: so does the sum of (P or G) and G.
    width = site.number("WIDTH")
    generate = site.port("G", width)
    either = _two(design, site, "$or", site.port("P", width), generate)
    return {"CO": _carries(design, site, either, generate, site.port("CI", 1))[2]}


def _full_adder(design: Design, site: PlacedCell) -> dict[str, Bits]:
    two = partial(_two, design, site)
    a, b, c = (site.port(name, site.number("WIDTH")) for name in "ABC")
    half = two("$xor", a, b)
    return {"X": two("$or", two("$and", a, b), two("$and", half, c)), "Y": two("$xor", half, c)}


def _slice(design: Design, site: PlacedCell) -> dict[str, Bits]:
    low = site.number("OFFSET")
    return {"Y": site.port("A")[low : low + site.number("Y_WIDTH")]}


def _concat(design: Design, site: PlacedCell) -> dict[str, Bits]:
    return {"Y": site.port("A") + site.port("B")}


def _barrier(design: Design, site: PlacedCell) -> dict[str, Bits]:
    return {"Y": site.port("A")}


def _same_bits(design: Design, site: PlacedCell) -> dict[str, Bits]:
    width = site.number("WIDTH")
    return {"Y": _two(design, site, "$xnor", site.port("A", width), site.port("B", width))}


#: For each kind, what drives its outputs.
COMPOUND: dict[str, Callable[[Design, PlacedCell], dict[str, Bits]]] = {
    "$alu": _alu,
    "$lcu": _lookahead,
    "$fa": _full_adder,
    "$slice": _slice,
    "$concat": _concat,
    "$barrier": _barrier,
    "$bweqx": _same_bits,
    "$macc": multiply_accumulate,
    "$macc_v2": multiply_add,
}


def lower_compound(design: Design, site: PlacedCell) -> None:
    """Lower one cell of `COMPOUND`; outputs that it leaves unconnected are nobody's."""
    for name, bits in COMPOUND[site.kind](design, site).items():
        if site.cell.ports.get(name):
            design.nets.connect(site.port(name, len(bits)), bits)
