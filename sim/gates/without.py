"""A netlist whose readers read other words; and one without some of its values, for which they read the undefined."""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping
from dataclasses import replace

from ..frozen import frozen
from ..netlist import Cell, Const, Memory, Netlist, Override, Part, Register, Slice, Word
from .memories import rewired


def without(netlist: Netlist, gone: Container[int]) -> Netlist:
    """The netlist without the cells and registers that drive the values in `gone`.

    What does not depend on them is as before.
    """

    def change(part: Part) -> Word:
        return Word.of((_part(part, gone),))

    left = rewritten(netlist, change)
    return replace(
        netlist,
        cells=tuple(cell for cell in left.cells if cell.output not in gone),
        registers=tuple(register for register in left.registers if register.output not in gone),
        memories=left.memories,
        outputs=left.outputs,
        names={name: _changed(word, change) for name, word in netlist.names.items()},
    )


@frozen
class Readers:
    """All of a netlist that reads something; no netlist, for what it reads may still have to be added."""

    cells: tuple[Cell, ...]
    registers: tuple[Register, ...]
    memories: tuple[Memory, ...]
    outputs: Mapping[str, Word]


def rewritten(netlist: Netlist, change: Callable[[Part], Word]) -> Readers:
    """All readers, with each part of each of their words changed."""

    def word(old: Word) -> Word:
        return _changed(old, change)

    registers = (
        replace(
            register,
            clock=None if register.clock is None else word(register.clock),
            data=word(register.data),
            overrides=tuple(Override(word(o.mask), word(o.value)) for o in register.overrides),
        )
        for register in netlist.registers
    )
    return Readers(
        tuple(replace(cell, operands=tuple(map(word, cell.operands))) for cell in netlist.cells),
        tuple(registers),
        tuple(rewired(memory, word) for memory in netlist.memories),
        {name: word(old) for name, old in netlist.outputs.items()},
    )


def _changed(word: Word, change: Callable[[Part], Word]) -> Word:
    return Word.of(part for each in word.parts for part in change(each).parts)


def _part(part: Part, gone: Container[int]) -> Part:
    if isinstance(part, Slice) and part.value in gone:
        return Const(0, part.width, (1 << part.width) - 1)
    return part
