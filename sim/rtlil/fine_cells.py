"""Yosys' one-bit gate cells to word-level cells, by one table a family.

Source: the cells and port names of Yosys' gate library (`simcells.v`).
"""

from __future__ import annotations

import re

from .lower import Design, PlacedCell
from .records import Bits, CellText
from .registers import lower_register

Formula = str | tuple["str | Formula", ...]


def _mux_tree(inputs: str, selects: str) -> Formula:
    """A multiplexer of gates: the last select chooses between the halves."""
    if len(inputs) == 1:
        return inputs
    half = len(inputs) // 2
    rest = selects[:-1]
    return ("$mux", _mux_tree(inputs[:half], rest), _mux_tree(inputs[half:], rest), selects[-1])


#: Output Y of each gate as a formula of its ports; `$mux` takes A, B, S.
GATES: dict[str, Formula] = {
    "$_BUF_": ("$buf", "A"),
    "$_NOT_": ("$not", "A"),
    "$_AND_": ("$and", "A", "B"),
    "$_NAND_": ("$not", ("$and", "A", "B")),
    "$_OR_": ("$or", "A", "B"),
    "$_NOR_": ("$not", ("$or", "A", "B")),
    "$_XOR_": ("$xor", "A", "B"),
    "$_XNOR_": ("$xnor", "A", "B"),
    "$_ANDNOT_": ("$and", "A", ("$not", "B")),
    "$_ORNOT_": ("$or", "A", ("$not", "B")),
    "$_MUX_": _mux_tree("AB", "S"),
    "$_NMUX_": ("$not", _mux_tree("AB", "S")),
    "$_MUX4_": _mux_tree("ABCD", "ST"),
    "$_MUX8_": _mux_tree("ABCDEFGH", "STU"),
    "$_MUX16_": _mux_tree("ABCDEFGHIJKLMNOP", "STUV"),
    "$_AOI3_": ("$not", ("$or", ("$and", "A", "B"), "C")),
    "$_OAI3_": ("$not", ("$and", ("$or", "A", "B"), "C")),
    "$_AOI4_": ("$not", ("$or", ("$and", "A", "B"), ("$and", "C", "D"))),
    "$_OAI4_": ("$not", ("$and", ("$or", "A", "B"), ("$or", "C", "D"))),
    "$_TBUF_": ("$tribuf", "A", "E"),
}

#: Families of one-bit registers: name, word-level kind, what each letter of the name means (`P`/`N` a
#: polarity, `0`/`1` a reset value), and the word-level port of each port beside D and Q.
_FAMILIES: tuple[tuple[str, str, tuple[str, ...], dict[str, str]], ...] = (
    ("DFF", "$dff", ("CLK",), {"C": "CLK"}),
    ("DFFE", "$dffe", ("CLK", "EN"), {"C": "CLK", "E": "EN"}),
    ("DFF", "$adff", ("CLK", "ARST", "ARST_VALUE"), {"C": "CLK", "R": "ARST"}),
    ("DFFE", "$adffe", ("CLK", "ARST", "ARST_VALUE", "EN"), {"C": "CLK", "R": "ARST", "E": "EN"}),
    ("SDFF", "$sdff", ("CLK", "SRST", "SRST_VALUE"), {"C": "CLK", "R": "SRST"}),
    ("SDFFE", "$sdffe", ("CLK", "SRST", "SRST_VALUE", "EN"), {"C": "CLK", "R": "SRST", "E": "EN"}),
    ("SDFFCE", "$sdffce", ("CLK", "SRST", "SRST_VALUE", "EN"), {"C": "CLK", "R": "SRST", "E": "EN"}),
    ("ALDFF", "$aldff", ("CLK", "ALOAD"), {"C": "CLK", "L": "ALOAD", "AD": "AD"}),
    ("ALDFFE", "$aldffe", ("CLK", "ALOAD", "EN"), {"C": "CLK", "L": "ALOAD", "AD": "AD", "E": "EN"}),
    ("DFFSR", "$dffsr", ("CLK", "SET", "CLR"), {"C": "CLK", "S": "SET", "R": "CLR"}),
    ("DFFSRE", "$dffsre", ("CLK", "SET", "CLR", "EN"), {"C": "CLK", "S": "SET", "R": "CLR", "E": "EN"}),
    ("DLATCH", "$dlatch", ("EN",), {"E": "EN"}),
    ("DLATCH", "$adlatch", ("EN", "ARST", "ARST_VALUE"), {"E": "EN", "R": "ARST"}),
    ("DLATCHSR", "$dlatchsr", ("EN", "SET", "CLR"), {"E": "EN", "S": "SET", "R": "CLR"}),
    ("SR", "$sr", ("SET", "CLR"), {"S": "SET", "R": "CLR"}),
)


def lower_gate(design: Design, site: PlacedCell) -> bool:
    """Lower a gate or one-bit register; False if the cell is neither."""
    formula = GATES.get(site.kind)
    if formula is not None:
        design.nets.connect(site.port("Y", 1), _build(design, site, formula))
        return True
    match = re.fullmatch(r"\$_([A-Z]+)_([PN01]+)_", site.kind)
    if match is None:
        return False
    for family, kind, letters, ports in _FAMILIES:
        if family == match[1] and len(letters) == len(match[2]):
            lower_register(design, _renamed(site, kind, dict(zip(letters, match[2], strict=True)), ports))
            return True
    return False


def _build(design: Design, site: PlacedCell, formula: Formula) -> Bits:
    """The cells of a formula, from the inside out (formulas are a few levels deep)."""
    if isinstance(formula, str):
        return site.port(formula, 1)
    kind, *terms = formula
    assert isinstance(kind, str)
    operands = tuple([_build(design, site, term) for term in terms])
    signs = (
        {}
        if kind in ("$mux", "$tribuf")
        else {"A_SIGNED": 0, "B_SIGNED": 0}
        if len(terms) > 1
        else {"A_SIGNED": 0}
    )
    return design.emit(kind, operands, 1, signs, name=site.title, src=site.src)


def _renamed(site: PlacedCell, kind: str, letters: dict[str, str], names: dict[str, str]) -> PlacedCell:
    """The same one-bit register as a word-level cell."""
    cell = site.cell
    params = {"WIDTH": "1"}
    for what, letter in letters.items():
        if what.endswith("VALUE"):
            params[what] = f"1'{letter}"
        else:
            params[f"{what}_POLARITY"] = "1" if letter == "P" else "0"
    ports = {names.get(name, name): bits for name, bits in cell.ports.items()}
    return PlacedCell(CellText(kind, cell.name, params, ports, cell.src, cell.line), site.scope)
