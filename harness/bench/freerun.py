"""Loops that run free: what of a design can still be foretold once they are taken out."""

from __future__ import annotations

from collections.abc import Iterable

from forelight.sim.gates.without import without
from forelight.sim.loops import Oscillation
from forelight.sim.netlist import Netlist, Word

#: Loops are found one update at a time; a design that brings ever more is given up.
MOST_LOOPS = 64


def stilled(netlist: Netlist, loops: Iterable[Oscillation]) -> Netlist:
    """The netlist without these loops: whatever reads one of their nets reads an undefined constant.

    What does not depend on them is as before.
    """
    return without(netlist, {value for loop in loops for value in loop.values})


def touched(netlist: Netlist, values: Iterable[int], stores: Iterable[int] = ()) -> int:
    """Mask of the bits of `outputs` that may depend on these values and memories, through whatever holds state too."""
    tainted, memories = set(values), set(stores)
    grown = bool(tainted or memories)
    while grown:
        before = len(tainted), len(memories)
        for cell in netlist.cells:
            known = cell.kind == "read" and cell.int_param("memory") in memories
            if known or _reads(cell.operands, tainted):
                tainted.add(cell.output)
        for register in netlist.registers:
            if _reads(register.words, tainted):
                tainted.add(register.output)
        for number, memory in enumerate(netlist.memories):
            if any(_reads(port.words, tainted) for port in memory.writes):
                memories.add(number)
        grown = before != (len(tainted), len(memories))
    bits = netlist.outputs["outputs"].bits()
    return sum(1 << n for n, bit in enumerate(bits) if _reads([bit], tainted))


def _reads(words: Iterable[Word], values: set[int]) -> bool:
    return any(value in values for word in words for value in word.values())
