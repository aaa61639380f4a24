"""Reads netlists in the `.bench` form in which the benchmark circuits of 1985 and 1989 are passed on."""

from __future__ import annotations

import re

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


def read_bench(text: str, name: str) -> Netlist:
    """INPUT(a), OUTPUT(y), y = NAND(a, b, ...); DFF is a register on one clock for all, the input `clk`."""
    ports = re.findall(r"^\s*(INPUT|OUTPUT)\((\S+)\)", text, re.MULTILINE)
    gates = re.findall(r"^\s*(\S+)\s*=\s*(\w+)\((.*)\)", text, re.MULTILINE)
    inputs = {net: number for number, net in enumerate(net for kind, net in ports if kind == "INPUT")}
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
    outputs = {net: Word.value(values[net], 1) for kind, net in ports if kind == "OUTPUT"}
    names = {net: Word.value(value, 1) for net, value in values.items()}
    return Netlist(name, (1,) * count, inputs, outputs, tuple(cells), tuple(registers), (), names)
