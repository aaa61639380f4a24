"""Lanes one after another, for a netlist that cannot be turned into gates alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..netlist import Netlist
from ..simulation import Recorded, Simulation
from ..state import PowerUp

Bits = NDArray[np.uint8]


class InTurn:
    """One simulation a lane, all with the same machine code."""

    def __init__(self, netlist: Netlist, lanes: int) -> None:
        first = Simulation(netlist)
        self.lanes = [first, *(Simulation(netlist, compiled=first.compiled) for _ in range(lanes - 1))]

    def power_cycle(self, power_ups: Sequence[PowerUp]) -> None:
        for sim, held in zip(self.lanes, power_ups, strict=True):
            sim.power_cycle(held)
        self._awake = self.save()

    def power_cycle_again(self) -> None:
        self.load(self._awake)

    def load(self, images: Sequence[bytes]) -> None:
        for sim, image in zip(self.lanes, images, strict=True):
            sim.restore(image)

    def save(self) -> list[bytes]:
        return [sim.snapshot() for sim in self.lanes]

    def set(self, name: str, values: Sequence[int]) -> None:
        for sim, value in zip(self.lanes, values, strict=True):
            sim.set(name, value)

    def settle(self) -> None:
        for sim in self.lanes:
            sim.settle()

    def bits(self, name: str) -> Bits:
        width = (self.lanes[0].netlist.outputs.get(name) or self.lanes[0].netlist.names[name]).width
        return np.stack([_bits(sim.get(name), width) for sim in self.lanes])

    def samples(self, columns: Mapping[str, NDArray[Any]], observe: str) -> Bits:
        def run(lane: int, sim: Simulation) -> Recorded:
            return sim.run_columns(_own(columns, lane), observe)

        return self._recorded(observe, run)

    def agreement(self, columns: Mapping[str, NDArray[Any]], observe: str) -> Recorded:
        shown = [sim.run_columns(_own(columns, lane), observe) for lane, sim in enumerate(self.lanes)]
        differ = np.zeros_like(shown[0])
        for other in shown[1:]:
            differ |= other ^ shown[0]
        size = 2 * shown[0].itemsize
        return np.stack((shown[0], differ), axis=1).view(f"<u{size}")[:, 0]

    def clock(self, port: str, bit: int, cycles: int, observe: str) -> Bits:
        return self._recorded(
            observe, lambda lane, sim: sim.run_clock(port, bit=bit, cycles=cycles, observe=observe)
        )

    def differs_in_samples(self, columns: Mapping[str, NDArray[Any]]) -> Bits:
        return self._compared(lambda lane, sim, name: sim.run_columns(_own(columns, lane), name))

    def differs_in_clock(self, port: str, bit: int, cycles: int) -> Bits:
        return self._compared(
            lambda lane, sim, name: sim.run_clock(port, bit=bit, cycles=cycles, observe=name)
        )

    def _recorded(self, observe: str, run: Callable[[int, Simulation], Recorded]) -> Bits:
        netlist = self.lanes[0].netlist
        width = (netlist.outputs.get(observe) or netlist.names[observe]).width
        rows = [
            np.ascontiguousarray(run(lane, sim))[:, None].view(np.uint8)
            for lane, sim in enumerate(self.lanes)
        ]
        return np.unpackbits(np.stack(rows), axis=-1, bitorder="little", count=width)

    def _compared(self, run: Callable[[int, Simulation, str], Recorded]) -> Bits:
        """Whether any output of each lane was ever another than that of lane 0; each output has a run of its own."""
        found = np.zeros(len(self.lanes), np.uint8)
        names = list(self.lanes[0].outputs)
        before = [sim.snapshot() for sim in self.lanes]
        for name in names:
            first: Recorded | None = None
            for lane, sim in enumerate(self.lanes):
                sim.restore(before[lane])
                seen = run(lane, sim, name)
                first = seen if first is None else first
                found[lane] |= not np.array_equal(seen, first)
        return found


def _own(columns: Mapping[str, NDArray[Any]], lane: int) -> dict[str, Any]:
    return {name: values if values.ndim == 1 else values[:, lane] for name, values in columns.items()}


def _bits(value: int, width: int) -> Bits:
    raw = np.frombuffer(value.to_bytes(-(-width // 8), "little"), np.uint8)
    return np.unpackbits(raw, bitorder="little", count=width)
