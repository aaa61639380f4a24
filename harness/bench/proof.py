"""What is proved of a run, whatever the power-up and whichever way a race falls; and which updates are races."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from forelight.sim.netlist import Netlist, Slice, Word
from forelight.sim.proof.ternary import Proof, worth_following
from forelight.sim.schedule import schedule
from numpy.typing import NDArray

Values = NDArray[np.unsignedinteger[Any]]


@dataclass(frozen=True)
class Fork:
    """An update after which a state is one thing or another, by which of several lines is the first to move.

    `update` counts `values` from 0; `lines` is a mask of the inputs that move; `registers` are the names of what comes
    to hold one thing or another. With one line alone it is a glitch that decides.
    """

    update: int
    lines: int
    registers: tuple[str, ...]

    @property
    def is_glitch(self) -> bool:
        return self.lines.bit_count() == 1


@dataclass(frozen=True)
class Proved:
    """Masks of the bits of `outputs` that are proved, after power-up and after each update; and what proof is lost by.

    In each of `forks` something is unknown that would be known if all lines moved at one instant. `left_open` says in
    words what counts as unknown because it would be too much to follow.
    """

    bits: NDArray[np.uint8]
    forks: tuple[Fork, ...]
    left_open: tuple[str, ...] = ()


def prove(netlist: Netlist, values: Values) -> Proved:
    """What is proved from power-up with inputs at 0 on, with an update of the port `inputs` for each of `values`."""
    proof = Proof(netlist, most_cells=worth_following(len(values)))
    proof.update({"inputs": 0})
    first = np.array([proof.get("outputs")[1]], np.uint8)
    bits = np.concatenate((first, proof.run("inputs", values, "outputs")[1]))
    forks = (
        Fork(race.update - 1, sum(1 << bit for _, bit in race.lines), race.registers)
        for race in proof.races
        if race.update
    )
    return Proved(bits, tuple(forks), proof.left_open)


def races(netlist: Netlist, values: Values) -> NDArray[np.int64]:
    """The updates in which several lines move, one at least of those on which an edge, a latch or a loop depends.

    All lines are 0 before the first. Where none of those moves, nothing is remembered of the way to the new levels, so
    any order of the lines comes to the same.
    """
    moved = values.copy()
    moved[1:] ^= values[:-1]
    several = moved & (moved - moved.dtype.type(1)) != 0
    return np.flatnonzero(several & (moved & moved.dtype.type(_minded(netlist)) != 0))


def _minded(netlist: Netlist) -> int:
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
