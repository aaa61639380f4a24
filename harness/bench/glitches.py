"""What hangs on a glitch: a line that moves alone, and gates that may let it through or not."""

from __future__ import annotations

from forelight.sim.netlist import Netlist

from .freerun import touched
from .proof import Fork


def decided(netlist: Netlist, fork: Fork) -> int:
    """Mask of the bits of `outputs` that may depend on what a fork leaves open."""
    names = set(fork.registers)
    values = {register.output for register in netlist.registers if register.name in names}
    values |= {value for name, word in netlist.names.items() if name in names for value in word.values()}
    stores = [number for number, memory in enumerate(netlist.memories) if memory.name in names]
    found = names - {register.name for register in netlist.registers} - netlist.names.keys()
    found -= {memory.name for memory in netlist.memories}
    return 0xFF if found or not names else touched(netlist, values, stores)
