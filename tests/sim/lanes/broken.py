"""A netlist with a stuck-at fault drawn in: what lanes with faults are held against."""

from __future__ import annotations

from dataclasses import replace

from forelight.sim import Netlist
from forelight.sim.lanes.faults import Fault, Site
from forelight.sim.netlist import Const, Override, Slice, Word


def broken(netlist: Netlist, fault: Fault) -> Netlist:
    """The netlist with one fault drawn in: what reads the line reads a constant."""
    site, level = fault.site, Const(fault.stuck, 1)

    def word(old: Word, place: str, number: int, first: int = 0) -> Word:
        parts: list[Slice | Const] = []
        for at, bit in enumerate(old.bits(), first):
            (part,) = bit.parts
            driven = isinstance(part, Slice) and Site("driver", part.value, part.low) == site
            here = Site(place, number, at) == site and isinstance(part, Slice)  # type: ignore[arg-type]
            parts.append(level if driven or here else part)
        return Word.of(parts)

    cells = []
    for number, cell in enumerate(netlist.cells):
        operands, at = [], 0
        for operand in cell.operands:
            operands.append(word(operand, "gate", number, at))
            at += operand.width
        cells.append(replace(cell, operands=tuple(operands)))
    registers = [
        replace(
            register,
            clock=word(register.clock, "clock", number) if register.clock is not None else None,
            data=word(register.data, "data", number) if register.clock is not None else register.data,
            overrides=tuple(
                Override(word(o.mask, "mask", number, k), word(o.value, "value", number, k))
                for k, o in enumerate(register.overrides)
            ),
        )
        for number, register in enumerate(netlist.registers)
    ]
    outputs = {port: word(shown, "output", n) for n, (port, shown) in enumerate(netlist.outputs.items())}
    return replace(netlist, cells=tuple(cells), registers=tuple(registers), outputs=outputs)
