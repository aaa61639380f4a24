"""What hangs on a glitch: a line that moves alone, and gates that may let it through or not."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from forelight.sim.netlist import Netlist
from numpy.typing import NDArray

from .freerun import touched
from .proof import Fork


def without_glitches(netlist: Netlist, forks: Iterable[Fork], agreed: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Masks of the bits of `outputs` on which power-ups agree, less what a glitch may have decided by then.

    No sampled power-up glitches, so their agreement says nothing of it. Row 0 is before the first update.
    """
    kept, masks = agreed.copy(), dict[tuple[str, ...], int]()
    for fork in forks:
        if fork.is_glitch:
            if fork.registers not in masks:
                masks[fork.registers] = _decided(netlist, set(fork.registers))
            kept[fork.update + 1 :] &= np.uint8(0xFF & ~masks[fork.registers])
    return kept


def _decided(netlist: Netlist, names: set[str]) -> int:
    """Mask of the bits of `outputs` that may depend on these; all of them where a name is not to be found."""
    values = {register.output for register in netlist.registers if register.name in names}
    values |= {value for name in names & netlist.names.keys() for value in netlist.names[name].values()}
    stores = {memory.name: number for number, memory in enumerate(netlist.memories)}
    known = {register.name for register in netlist.registers} | netlist.names.keys() | stores.keys()
    if not names or not names <= known:
        return 0xFF
    return touched(netlist, values, [stores[name] for name in names & stores.keys()])
