"""Loops that run free: what of a design can still be foretold once they are taken out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from forelight.sim.loops import Oscillation
from forelight.sim.netlist import Const, Netlist, Override, Part, Slice, Word, WritePort

#: Loops are found one update at a time; a design that brings ever more is given up.
MOST_LOOPS = 64


def stilled(netlist: Netlist, loops: Iterable[Oscillation]) -> Netlist:
    """The netlist without these loops: whatever reads one of their nets reads an undefined constant.

    What does not depend on them is as before.
    """
    gone = {value for loop in loops for value in loop.values}

    def word(old: Word) -> Word:
        return Word.of(_part(part, gone) for part in old.parts)

    def clock(old: Word | None) -> Word | None:
        return None if old is None else word(old)

    cells = [
        replace(cell, operands=tuple(map(word, cell.operands)))
        for cell in netlist.cells
        if cell.output not in gone
    ]
    registers = [
        replace(
            register,
            clock=clock(register.clock),
            data=word(register.data),
            overrides=tuple(Override(word(o.mask), word(o.value)) for o in register.overrides),
        )
        for register in netlist.registers
        if register.output not in gone
    ]
    memories = [
        replace(
            memory,
            writes=tuple(
                WritePort(
                    clock(port.clock),
                    port.rising,
                    word(port.address),
                    word(port.data),
                    word(port.enable),
                    port.src,
                )
                for port in memory.writes
            ),
        )
        for memory in netlist.memories
    ]
    return replace(
        netlist,
        outputs={name: word(old) for name, old in netlist.outputs.items()},
        cells=tuple(cells),
        registers=tuple(registers),
        memories=tuple(memories),
        names={name: word(old) for name, old in netlist.names.items()},
    )


def touched(netlist: Netlist, loops: Iterable[Oscillation]) -> int:
    """Mask of the bits of `outputs` that may depend on these loops, through logic, registers and memories."""
    tainted = {value for loop in loops for value in loop.values}
    memories: set[int] = set()
    grown = True
    while grown:
        before = len(tainted), len(memories)
        for cell in netlist.cells:
            known = cell.kind == "read" and cell.int_param("memory") in memories
            if known or _reads(cell.operands, tainted):
                tainted.add(cell.output)
        for register in netlist.registers:
            words = [register.data, *([register.clock] if register.clock else [])]
            words += [word for o in register.overrides for word in (o.mask, o.value)]
            if _reads(words, tainted):
                tainted.add(register.output)
        for number, memory in enumerate(netlist.memories):
            for port in memory.writes:
                if _reads(
                    [port.address, port.data, port.enable, *([port.clock] if port.clock else [])], tainted
                ):
                    memories.add(number)
        grown = before != (len(tainted), len(memories))
    bits = netlist.outputs["outputs"].bits()
    return sum(1 << n for n, bit in enumerate(bits) if _reads([bit], tainted))


def _reads(words: Iterable[Word], values: set[int]) -> bool:
    return any(value in values for word in words for value in word.values())


def _part(part: Part, gone: set[int]) -> Part:
    if isinstance(part, Slice) and part.value in gone:
        return Const(0, part.width, (1 << part.width) - 1)
    return part
