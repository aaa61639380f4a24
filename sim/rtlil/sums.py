"""Yosys' cells that add many terms at once, products among them, to multiplications and additions.

Source: the models of `$macc` and `$macc_v2` in Yosys' cell library (`simlib.v`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..errors import RtlilError
from ..netlist import Param
from .lower import Design, PlacedCell
from .records import ZERO, Bits


@dataclass(frozen=True, slots=True)
class _Term:
    """A number, or the product of two, that is added or taken away."""

    factors: tuple[Bits, ...]
    signed: int
    negated: bool


class _Cut:
    """Takes bits from the low end of a port, one part after another."""

    def __init__(self, site: PlacedCell, port: str) -> None:
        self.site, self.port = site, port
        self.bits = site.port(port)
        self.at = 0

    def take(self, width: int) -> Bits:
        self.at += width
        return self.bits[self.at - width : self.at]

    def close(self) -> None:
        """RtlilError unless all has been taken, and no more."""
        self.site.port(self.port, self.at)


def multiply_accumulate(design: Design, site: PlacedCell) -> dict[str, Bits]:
    """`$macc`: CONFIG holds, from its low end, the size of a length, and for each term signs and lengths."""
    config, size = site.number("CONFIG"), site.number("CONFIG_WIDTH")
    digits = max(config & 15, 1)
    a = _Cut(site, "A")
    terms = []
    for place in range(4, size - 1, 2 + 2 * digits):
        lengths = (config >> (place + 2 + part * digits) & (1 << digits) - 1 for part in (0, 1))
        first, second = (a.take(length) for length in lengths)
        if not first:
            raise _of_no_bits(site)
        # A second factor of no bits stands for 1.
        factors = (first, second) if second else (first,)
        terms.append(_Term(factors, config >> place & 1, bool(config >> place + 1 & 1)))
    a.close()
    terms += [_Term(((bit,),), 0, False) for bit in site.port("B", site.number("B_WIDTH"))]
    return {"Y": _total(design, site, terms)}


def multiply_add(design: Design, site: PlacedCell) -> dict[str, Bits]:
    """`$macc_v2`: products of parts of A and B, then parts of C; the widths are words of 16 bits."""
    a, b, c = (_Cut(site, name) for name in "ABC")
    products, addends = site.number("NPRODUCTS"), site.number("NADDENDS")
    if products > len(a.bits) or addends > len(c.bits):
        raise _of_no_bits(site)
    signed, negated = site.flags("A_SIGNED", products), site.flags("PRODUCT_NEGATED", products)
    pairs = zip(_widths(site, "A", products), _widths(site, "B", products), strict=True)
    terms = [
        _Term((a.take(left), b.take(right)), int(signed[n] == "1"), negated[n] == "1")
        for n, (left, right) in enumerate(pairs)
    ]
    signed, negated = site.flags("C_SIGNED", addends), site.flags("ADDEND_NEGATED", addends)
    terms += [
        _Term((c.take(width),), int(signed[n] == "1"), negated[n] == "1")
        for n, width in enumerate(_widths(site, "C", addends))
    ]
    for port in (a, b, c):
        port.close()
    return {"Y": _total(design, site, terms)}


def _of_no_bits(site: PlacedCell) -> RtlilError:
    return RtlilError(f"{site.title} adds more terms than its ports have bits", place=site.place)


def _widths(site: PlacedCell, port: str, count: int) -> Iterator[int]:
    packed = site.number(f"{port}_WIDTHS")
    return (packed >> 16 * n & 0xFFFF for n in range(count))


def _total(design: Design, site: PlacedCell, terms: list[_Term]) -> Bits:
    width = site.number("Y_WIDTH")

    def cell(kind: str, operands: tuple[Bits, ...], signed: int) -> Bits:
        params: dict[str, Param] = {f"{port}_SIGNED": signed for port in "AB"[: len(operands)]}
        return design.emit(kind, operands, width, params, name=site.title, src=site.src)

    total: Bits = (ZERO,) * width
    for term in terms:
        number = cell("$mul" if len(term.factors) == 2 else "$pos", term.factors, term.signed)
        total = cell("$sub" if term.negated else "$add", (total, number), 0)
    return total
