"""What hangs on a glitch: a line that moves alone, and gates that may let it through or not."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from forelight.sim.netlist import Netlist
from forelight.sim.proof.ternary import OpenUpdate
from numpy.typing import NDArray

from .freerun import touched


class Glitches:
    """What glitches decided in a run that goes on; `forks` is how many updates of the proof were looked at."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist, self.forks = netlist, 0
        self._decided = 0
        self._masks: dict[tuple[str, ...], int] = {}

    def without(
        self, agreed: NDArray[np.uint8], first: int, forks: Iterable[OpenUpdate]
    ) -> NDArray[np.uint8]:
        """Masks of the bits of `outputs` on which power-ups agree, less what a glitch may have decided by then.

        No sampled power-up glitches, so their agreement says nothing of it. The masks are those before update `first`
        and after each from there on; `forks` are new.
        """
        kept = agreed & np.uint8(0xFF & ~self._decided)
        for fork in forks:
            self.forks += 1
            if fork.is_glitch:
                if fork.registers not in self._masks:
                    self._masks[fork.registers] = _decided(self.netlist, set(fork.registers))
                self._decided |= self._masks[fork.registers]
                kept[max(0, fork.update + 1 - first) :] &= np.uint8(0xFF & ~self._masks[fork.registers])
        return kept

    def snapshot(self) -> tuple[int, int]:
        """What was found, to give back to `restore`."""
        return self.forks, self._decided

    def restore(self, snapshot: tuple[int, int]) -> None:
        """Forget what was found since."""
        self.forks, self._decided = snapshot


def _decided(netlist: Netlist, names: set[str]) -> int:
    """Mask of the bits of `outputs` that may depend on these; all of them where a name is not to be found."""
    values = {register.output for register in netlist.registers if register.name in names}
    values |= {value for name in names & netlist.names.keys() for value in netlist.names[name].values()}
    stores = {memory.name: number for number, memory in enumerate(netlist.memories)}
    known = {register.name for register in netlist.registers} | netlist.names.keys() | stores.keys()
    if not names or not names <= known:
        return 0xFF
    return touched(netlist, values, [stores[name] for name in names & stores.keys()])
