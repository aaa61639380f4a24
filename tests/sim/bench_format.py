"""Reads netlists in the `.bench` form in which the benchmark circuits of 1985 and 1989 are passed on."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import pytest
from forelight.sim.netlist import Cell, Const, Netlist, Register, Word

#: For each gate: the cell of two inputs, the cell of more, and whether an inverter follows.
_GATES = {
    "AND": ("$and", "$reduce_and", False),
    "NAND": ("$and", "$reduce_and", True),
    "OR": ("$or", "$reduce_or", False),
    "NOR": ("$or", "$reduce_or", True),
    "XOR": ("$xor", "$reduce_xor", False),
    "XNOR": ("$xor", "$reduce_xor", True),
}
_ONE = {"NOT": "$not", "BUFF": "$buf", "BUF": "$buf"}
#: The circuits of 1985 and 1989, by name: the smallest lie in `iscas`, the others are looked for beside the checkout.
_PLACES = (Path(__file__).parents[3] / "shared" / "iscas", Path(__file__).parent / "iscas")
BENCHES = {path.stem: path for place in _PLACES for path in sorted(place.glob("*.bench"))}


def bench_text(name: str) -> str:
    """The netlist of this name; where there is none the test is skipped, which `.ci/run` does not let pass."""
    if name not in BENCHES:
        pytest.skip(f"{name}.bench is missing: there is no folder shared/iscas beside the checkout")
    return BENCHES[name].read_text("ascii")


def read_bench(text: str, name: str) -> Netlist:
    """INPUT(a), OUTPUT(y), y = NAND(a, b, ...); DFF is a register on one clock for all, the input `clk`."""
    ports = re.findall(r"^\s*(INPUT|OUTPUT)\((\S+)\)", text, re.MULTILINE)
    gates = re.findall(r"^\s*(\S+)\s*=\s*(\w+)\((.*)\)", text, re.MULTILINE)
    outputs = {net: net for kind, net in ports if kind == "OUTPUT"}
    return netlist_of(name, [net for kind, net in ports if kind == "INPUT"], outputs, gates)


def netlist_of(
    name: str, inputs_in_order: list[str], shown: Mapping[str, str], gates: list[tuple[str, str, str]]
) -> Netlist:
    """Of gates as (net, kind, nets with commas between); `shown` says which net an output shows."""
    inputs = {net: number for number, net in enumerate(inputs_in_order)}
    clocked = any(kind == "DFF" for _, kind, _ in gates)
    if clocked:
        inputs["clk"] = len(inputs)
    values = {**inputs, **{net: len(inputs) + number for number, (net, _, _) in enumerate(gates)}}
    count = len(values)
    cells: list[Cell] = []
    registers: list[Register] = []
    for net, kind, listed in gates:
        operands = [Word.value(values[each.strip()], 1) for each in listed.split(",")]
        if kind == "DFF":
            clock = Word.value(inputs["clk"], 1)
            registers.append(Register(values[net], 1, clock, True, operands[0], (), Const(0, 1), net))
            continue
        if kind in _ONE:
            cells.append(Cell(_ONE[kind], values[net], tuple(operands)))
            continue
        two, more, inverted = _GATES[kind]
        output = values[net]
        if inverted:
            output, count = count, count + 1
        if len(operands) == 2:
            cells.append(Cell(two, output, tuple(operands)))
        else:
            cells.append(Cell(more, output, (Word.of(part for word in operands for part in word.parts),)))
        if inverted:
            cells.append(Cell("$not", values[net], (Word.value(output, 1),)))
    outputs = {port: Word.value(values[net], 1) for port, net in shown.items()}
    names = {net: Word.value(value, 1) for net, value in values.items()}
    return Netlist(name, (1,) * count, inputs, outputs, tuple(cells), tuple(registers), (), names)


def bench_verilog(text: str) -> tuple[str, list[str]]:
    """Primitives and flip-flops for a `.bench` text, written without our reader of it; and the nets."""
    lines, nets = [], []
    for net, kind, listed in re.findall(r"^\s*(\S+)\s*=\s*(\w+)\((.*)\)", text, re.MULTILINE):
        operands = ", ".join(f"\\{each.strip()} " for each in listed.split(","))
        nets.append(f"\\{net} ")
        if kind == "DFF":
            lines += [f"reg \\{net} ;", f"always @(posedge clk) \\{net} <= {operands};"]
        else:
            primitive = {"BUFF": "buf"}.get(kind, kind.lower())
            lines += [f"wire \\{net} ;", f"{primitive} (\\{net} , {operands});"]
    # A net may be read before the line that drives it.
    lines.sort(key=lambda line: not line.startswith(("wire", "reg")))
    return "\n".join(lines), nets


def bench_module(text: str, name: str) -> str:
    """A whole module of the primitives of `bench_verilog`."""
    body, _ = bench_verilog(text)
    inputs, outputs = (
        re.findall(rf"^\s*{kind}\((\S+)\)", text, re.MULTILINE) for kind in ("INPUT", "OUTPUT")
    )
    clock = ["input clk"] if "DFF(" in text else []
    ports = [*clock, *(f"input \\{net} " for net in inputs), *(f"output \\{net}_shown " for net in outputs)]
    shown = [f"assign \\{net}_shown = \\{net} ;" for net in outputs]
    return "\n".join([f"module {name}({', '.join(ports)});", body, *shown, "endmodule", ""])
