"""What is proved of a run, whatever the power-up and whichever way a race falls; and which updates are races."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from forelight.sim.netlist import Netlist, Slice, Word
from forelight.sim.proof.ternary import OpenUpdate, Proof
from forelight.sim.schedule import schedule
from numpy.typing import NDArray

from ..hand.ledger import Ledger

Values = NDArray[np.unsignedinteger[Any]]


class Prover:
    """What is proved of a run that goes on: from power-up with inputs at 0, an update of `inputs` at a time.

    `bits` are masks of the bits of `outputs` that are proved, after power-up and after each update. `left_open` says
    in words what counts as unknown because it would be too much to follow.
    """

    def __init__(self, proof: Proof) -> None:
        self._proof = proof
        self._proof.update({"inputs": 0})
        self._known = Ledger(np.uint8)
        self._known.append(np.array([self._proof.get("outputs")[1]], np.uint8))
        self.left_open = self._proof.left_open

    @property
    def bits(self) -> NDArray[np.uint8]:
        return self._known.rows

    def forks(self, after: int = 0) -> tuple[OpenUpdate, ...]:
        """The updates, counted from the first of `extend`, that left something open; not the first `after` of them."""
        lost = [race for race in self._proof.races if race.update]
        return tuple(replace(race, update=race.update - 1) for race in lost[after:])

    def extend(self, values: Values) -> None:
        """An update for each of these."""
        self._known.append(self._proof.run("inputs", values, "outputs")[1])

    def snapshot(self) -> Any:
        return len(self._known), self._proof.snapshot()

    def restore(self, snapshot: Any) -> None:
        length, state = snapshot
        self._known.cut(length)
        self._proof.restore(state)


def races(values: Values, before: int, minded: int) -> NDArray[np.int64]:
    """The updates in which several lines move, one at least of those in `minded`; `before` are the lines at first.

    Where none of those moves, nothing is remembered of the way to the new levels, so any order of the lines comes to
    the same.
    """
    moved = values.copy()
    moved[1:] ^= values[:-1]
    moved[:1] ^= moved.dtype.type(before)
    several = moved & (moved - moved.dtype.type(1)) != 0
    return np.flatnonzero(several & (moved & moved.dtype.type(minded) != 0))


def minded_lines(netlist: Netlist) -> int:
    """Mask of the lines of the port `inputs` that lead to a clock, a latch or an asynchronous control."""
    port = netlist.inputs["inputs"]
    if schedule(netlist).cuts:
        return (1 << netlist.widths[port]) - 1
    reads: dict[int, list[Word]] = {cell.output: list(cell.operands) for cell in netlist.cells}
    waiting: list[Word] = []
    for register in netlist.registers:
        masks = [override.mask for override in register.overrides]
        waiting += masks if register.clock is None else [register.clock, *masks]
        # What a latch lets through may lead to the clock of another.
        reads[register.output] = list(register.forcing)
    for memory in netlist.memories:
        for write in memory.writes:
            waiting += write.operands if write.clock is None else (write.clock,)
    found = 0
    seen: set[int] = set()
    while waiting:
        for part in waiting.pop().parts:
            if isinstance(part, Slice) and part.value == port:
                found |= (1 << part.width) - 1 << part.low
            elif isinstance(part, Slice) and part.value not in seen:
                seen.add(part.value)
                waiting += reads.get(part.value, [])
    return found
