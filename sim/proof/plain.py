"""Which of a netlist is plain, so that nothing in it can glitch that matters; and the netlist without the rest.

Plain are registers and memories whose clocks are input lines, straight or through inverters, and whose controls
are made by input lines alone; and cells that are in no loop. What is not plain can be followed by rounds
(`proof/rounds/rewrite.py`), or be given up: then it may be anything at any time, which covers whatever it does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ..frozen import frozen
from ..gates.memories import is_small
from ..gates.without import without
from ..netlist import Memory, Netlist, Override, Register, Word
from ..schedule import schedule
from ..state import is_wiring
from .clocks import Source, clock_sources


@frozen
class Wild:
    """What of a netlist is not plain: registers and memories by their numbers, and the cells' values in loops."""

    registers: tuple[int, ...]
    memories: tuple[int, ...]
    looped: frozenset[int]

    def __bool__(self) -> bool:
        return bool(self.registers or self.memories or self.looped)


def wild(netlist: Netlist) -> Wild:
    """What gates can disturb otherwise than through the data at a clean edge."""
    lines, straight = clock_sources(netlist), _straight(netlist)
    registers = (
        index
        for index, register in enumerate(netlist.registers)
        if not is_wiring(register) and not _is_plain_register(register, lines, straight)
    )
    memories = (
        number for number, memory in enumerate(netlist.memories) if not _is_plain_memory(memory, lines)
    )
    nodes = (node for loop in schedule(netlist).loops for node in loop)
    looped = (netlist.cells[node].output for node in nodes if node < len(netlist.cells))
    return Wild(tuple(registers), tuple(memories), frozenset(looped))


def tamed(netlist: Netlist, found: Wild) -> Netlist:
    """The netlist in which all that is wild is undefined, for good."""
    gone = {netlist.registers[index].output for index in found.registers} | found.looped
    gone |= {
        cell.output
        for cell in netlist.cells
        if cell.kind == "read" and cell.int_param("memory") in found.memories
    }
    memories = (
        replace(memory, writes=()) if number in found.memories else memory
        for number, memory in enumerate(netlist.memories)
    )
    return without(replace(netlist, memories=tuple(memories)), gone)


def given_up(netlist: Netlist, found: Wild) -> tuple[str, ...]:
    """What is given up, in words."""
    names = [netlist.registers[index].name or "a register" for index in found.registers]
    names += [netlist.memories[number].name or "a memory" for number in found.memories]
    names += [f"{len(found.looped)} cells in loops"] * bool(found.looped)
    shown = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
    return (f"clocks, controls and loops made by logic are not followed, so this counts as unknown: {shown}",)


def _is_plain_register(
    register: Register, lines: Mapping[Word, tuple[Source, bool]], straight: set[int]
) -> bool:
    clocked = register.clock is None or register.clock in lines
    return clocked and all(_is_plain_override(each, straight) for each in register.overrides)


def _is_plain_override(override: Override, straight: set[int]) -> bool:
    """Whether it is made by input lines alone and forces constants."""
    return straight.issuperset(override.mask.values()) and not list(override.value.values())


def _is_plain_memory(memory: Memory, lines: Mapping[Word, tuple[Source, bool]]) -> bool:
    """Whether it has one clean clock; a large one with others is unknown anyway."""
    clocks = {(port.clock, port.rising) for port in memory.writes}
    return not is_small(memory) or (len(clocks) < 2 and all(clock in lines for clock, _ in clocks))


def _straight(netlist: Netlist) -> set[int]:
    """Inputs, and what follows them through inverters and buffers alone."""
    found = set(netlist.inputs.values())
    for node in schedule(netlist).order:
        if node < len(netlist.cells):
            cell = netlist.cells[node]
            if cell.kind in ("$not", "$buf", "$pos") and found.issuperset(cell.operands[0].values()):
                found.add(cell.output)
    return found
