"""A netlist without some of its values: whatever read them reads an undefined constant."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import replace

from ..netlist import Const, Netlist, Override, Part, Slice, Word
from .memories import rewired


def without(netlist: Netlist, gone: Container[int]) -> Netlist:
    """The netlist without the cells and registers that drive the values in `gone`.

    What does not depend on them is as before.
    """

    def word(old: Word) -> Word:
        return Word.of(_part(part, gone) for part in old.parts)

    cells = [
        replace(cell, operands=tuple(map(word, cell.operands)))
        for cell in netlist.cells
        if cell.output not in gone
    ]
    registers = [
        replace(
            register,
            clock=None if register.clock is None else word(register.clock),
            data=word(register.data),
            overrides=tuple(Override(word(o.mask), word(o.value)) for o in register.overrides),
        )
        for register in netlist.registers
        if register.output not in gone
    ]
    return replace(
        netlist,
        outputs={name: word(old) for name, old in netlist.outputs.items()},
        cells=tuple(cells),
        registers=tuple(registers),
        memories=tuple(rewired(memory, word) for memory in netlist.memories),
        names={name: word(old) for name, old in netlist.names.items()},
    )


def _part(part: Part, gone: Container[int]) -> Part:
    if isinstance(part, Slice) and part.value in gone:
        return Const(0, part.width, (1 << part.width) - 1)
    return part
