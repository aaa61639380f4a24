"""Lines that race on a netlist of `rewrite.py`: everything joined that their orders can lead to."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..simulation import Simulation

#: A port and a bit of it.
InputBit = tuple[str, int]


def race(
    sim: Simulation, values: Mapping[str, int], lines: Sequence[InputBit], clocks: Collection[InputBit]
) -> None:
    """One update in which `lines` move to `values`; those in `clocks` clock something.

    All others become unknown together, and that is propagated to rest; then the clock lines move, each cleanly
    and in every order; then the others take their new values, and that is propagated again.
    """
    clocking = [line for line in lines if line in clocks]
    masks: dict[str, int] = {}
    for port, bit in lines:
        if (port, bit) not in clocks:
            masks[f"{port}.unknown"] = masks.get(f"{port}.unknown", 0) | 1 << bit
    sim.set_many(masks)
    sim.settle()
    _every_order(sim, clocking)
    sim.set_many({**values, **dict.fromkeys(masks, 0)})
    sim.settle()


def _every_order(sim: Simulation, clocks: Sequence[InputBit]) -> None:
    """The join of the states that the lines lead to, moved one after another in every order.

    The state after each subset of k lines is the join of those from which one line led there: that covers every
    order with k * 2**(k-1) updates instead of k!.
    """
    states = {0: sim.snapshot()}
    for subset in sorted(range(1, 1 << len(clocks)), key=int.bit_count):
        joined: bytes | None = None
        for place, (port, bit) in enumerate(clocks):
            if subset >> place & 1:
                sim.restore(states[subset ^ 1 << place])
                sim.set(port, sim.get(port) ^ 1 << bit)
                sim.settle()
                joined = sim.snapshot() if joined is None else _join(joined, sim.snapshot())
        assert joined is not None
        sim.restore(joined)
        sim.settle()
        states[subset] = sim.snapshot()
    sim.restore(states[(1 << len(clocks)) - 1])


def _join(one: bytes, other: bytes) -> bytes:
    """The state that covers two states: rails are "may be"."""
    a, b = np.frombuffer(one, np.uint8), np.frombuffer(other, np.uint8)
    return (a | b).tobytes()


class Rails:
    """Where a simulation keeps both rails of what has them in registers `.may1` and `.may0`, side by side.

    Of a large memory it is the number of times, in ones, that all of it was lost.
    """

    def __init__(self, sim: Simulation) -> None:
        registers, places = sim.netlist.registers, sim.compiled.layout.registers
        number: dict[str, int] = {}
        rails: list[
            tuple[int, int, int, int]
        ] = []  # of each byte: whose, how far up in it, and both in a state
        for index, (register, place) in enumerate(zip(registers, places, strict=True)):
            name, _, kind = register.name.rpartition(".")
            if kind in ("may1", "lost"):
                other = places[index + 1] if kind == "may1" else place
                whose = number.setdefault(name, len(number))
                rails += [
                    (whose, byte, place.offset + byte, other.offset + byte) for byte in range(place.size)
                ]
        #: What has rails.
        self.names = tuple(number)
        self._whose, self._byte, self._one, self._other = np.array(rails, np.int64).reshape(-1, 4).T

    def open(self, sim: Simulation) -> NDArray[np.bool_]:
        """Of each of the names whether a bit is unknown, in the state that the simulation is in."""
        found = np.zeros(len(self.names), np.bool_)
        found[self._whose[self._both(sim) != 0]] = True
        return found

    def unknown(self, sim: Simulation) -> dict[str, int]:
        """Masks of the unknown bits, of all that has some."""
        both = self._both(sim)
        found: dict[str, int] = {}
        for at in np.flatnonzero(both).tolist():
            name = self.names[self._whose[at]]
            found[name] = found.get(name, 0) | int(both[at]) << 8 * int(self._byte[at])
        return found

    def _both(self, sim: Simulation) -> NDArray[np.uint8]:
        state = np.frombuffer(sim.snapshot(), np.uint8)
        both: NDArray[np.uint8] = state[self._one] & state[self._other]
        return both
