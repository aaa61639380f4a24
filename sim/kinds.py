"""The kinds of cell of Yosys' library that a netlist holds, with the order of their operands."""

from __future__ import annotations

_UNARY = ("A",)
_BINARY = ("A", "B")
_CHOICE = ("A", "B", "S")
#: The operand order of each kind; the output is always Y.
PORTS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("$not", "$pos", "$buf", "$neg", "$logic_not"), _UNARY),
    **dict.fromkeys(("$reduce_and", "$reduce_or", "$reduce_xor", "$reduce_xnor", "$reduce_bool"), _UNARY),
    **dict.fromkeys(("$and", "$or", "$xor", "$xnor", "$logic_and", "$logic_or"), _BINARY),
    **dict.fromkeys(("$shl", "$shr", "$sshl", "$sshr", "$shift", "$shiftx"), _BINARY),
    **dict.fromkeys(("$lt", "$le", "$eq", "$ne", "$eqx", "$nex", "$ge", "$gt"), _BINARY),
    **dict.fromkeys(("$add", "$sub", "$mul", "$div", "$mod", "$divfloor", "$modfloor", "$pow"), _BINARY),
    **dict.fromkeys(("$mux", "$pmux", "$bwmux"), _CHOICE),
    **dict.fromkeys(("$bmux", "$demux"), ("A", "S")),
    "$lut": _UNARY,
    "$sop": _UNARY,
    "$alu": ("A", "B", "CI", "BI"),
    "$fa": ("A", "B", "C"),
    "$lcu": ("P", "G", "CI"),
    "$tribuf": ("A", "EN"),
}
