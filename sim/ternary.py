"""One update with coincident changes by ternary simulation, and the proof of what is settled from any power-up.

Lines that move in one update race each other (DEVELOPERS.md, Time 5). On the netlist of `unknowns.py`, where
a line may be unknown, one such update is (Eichelberger 1965):

1. all changing lines that clock nothing directly (or through inverters alone) become unknown, together,
   and that is propagated to rest;
2. the lines that clock something directly move, each cleanly from its old to its new level, in every order;
3. the lines of 1 take their new values, and that is propagated to rest.

What is still unknown is unsettled. Step 2 keeps rule 4: a line of its own has one clean edge, so a register
on it takes its data for certain; only data that moves at the same instant is unknown, being old or new, and a
clock that is also data is seen at its new level. A clock behind gates may glitch while a line of 1 is
unknown: it is unknown itself, so its registers join old and new state (`unknowns.py`).

*Several clock lines.* The state after each subset of them is the join of the states from which one line led
there: every order is covered with k * 2**(k-1) updates instead of k!. Rails are "may be", so that a join is
the bitwise or of two states; one more update brings what follows from it to rest.

*Why it is sound.* Take any order of the lines, one after another. Before, between and after the clock lines,
each line of 1 holds its old or its new value, which unknown covers; a change of it between them is an update of a
netlist whose inputs lie within the same unknown, and a state at rest under unknown inputs covers it: joins
are closed under further edges of unknown clocks, and everything else is monotone.

*One line alone* races nothing: it takes an ordinary update, so long runs stay in machine code.

*Loops of gates* are found anew in every update (`unknowns.py`), so whatever a loop only remembers is unsettled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .errors import UsageError
from .netlist import Netlist
from .schedule import schedule
from .simulation import Recorded, Simulation
from .state import is_wiring
from .unknown_clocks import clock_lines
from .unknowns import unknowns

Line = tuple[str, int]


@dataclass(frozen=True)
class Race:
    """One update whose moving lines left something unsettled that one instant would have settled.

    `update` counts from 0 at the first one after power-up. `registers` are the names of what became
    unsettled; `outputs` has for each port a mask, without ports whose mask is 0.
    """

    update: int
    lines: tuple[Line, ...]
    registers: tuple[str, ...]
    outputs: Mapping[str, int]

    def __str__(self) -> str:
        lines = ", ".join(f"{port}[{bit}]" for port, bit in self.lines)
        left = ", ".join((*self.registers, *self.outputs))
        return f"update {self.update}: {lines} move together and leave {left} unsettled"


class Proof:
    """A netlist run from all power-ups at once: every answer is a value and a mask of the bits that are proved.

    With `known_start`, registers and memories begin with what the source states. A lone line change is an
    ordinary update; several together are raced. `races` holds what the races of all updates so far left
    unsettled.
    """

    def __init__(self, netlist: Netlist, *, known_start: bool = False) -> None:
        self.netlist = netlist
        self._sim = Simulation(unknowns(netlist, clean_clocks=True, known_start=known_start), "init")
        self._clocks = self._clock_lines()
        self._names = list(
            dict.fromkeys(
                r.name.removesuffix(".may1").removesuffix(".may0") for r in self._sim.netlist.registers
            )
        )
        self._whole = self._is_whole()
        self.restart()

    def restart(self) -> None:
        """Power off and on: everything unknown again, inputs 0, no races."""
        self._sim.restart("init")
        self._now = dict.fromkeys(self.netlist.inputs, 0)
        self._updates = 0
        self.races: list[Race] = []

    def get(self, name: str) -> tuple[int, int]:
        """Value and mask of known bits of an output, or of any name of the source."""
        if name in self.netlist.outputs:
            word = self.netlist.outputs[name]
            return self._sim.get(name), self._sim.get(f"{name}.unknown") ^ ((1 << word.width) - 1)
        may0, may1 = self._sim.get(f"{name}.may0"), self._sim.get(f"{name}.may1")
        return may1 & ~may0, may0 ^ may1

    @property
    def settled(self) -> bool:
        """Whether all that the netlist remembers is proved: every power-up and every order have led to one state."""
        return self._whole and not any(self._unknown()[0].values())

    def update(self, values: Mapping[str, int]) -> None:
        """One update: the ports take their values at one instant, and what moves races."""
        lines = self._moving(values)
        self._updates += 1
        if self._updates == 1 or len(lines) < 2:
            self._sim.set_many(values)
            self._sim.settle()
        else:
            self._race(values, lines)
        self._now |= values

    def run(self, port: str, values: Recorded, observe: str) -> tuple[Recorded, Recorded]:
        """One update for each element of `values` on `port`: values of `observe` and masks of its known bits.

        Both arrays have one element an update, of the width that the output needs; a bit that is not known is
        0 in the first. The other ports keep what `update` gave them last. `observe` is an output of at most
        32 bits.
        """
        if port not in self.netlist.inputs or observe not in self.netlist.outputs:
            missing = port if port not in self.netlist.inputs else observe
            raise UsageError(
                f"no port is called {missing}",
                place=self.netlist.name,
                remedy=f"inputs are {', '.join(self.netlist.inputs)}; outputs {', '.join(self.netlist.outputs)}",
            )
        width = self.netlist.outputs[observe].width
        if width > 32:
            raise UsageError(
                f"output {observe} has {width} bits",
                place=self.netlist.name,
                remedy="observe at most 32 bits",
            )
        seen = np.empty(len(values), np.uint64)
        starts = self._racing_rows(port, values)
        at = 0
        for row in [*starts, len(values)]:
            if at < row:
                seen[at:row] = self._sim.run_samples(port, values[at:row], f"{observe}.both")
                self._now[port] = int(values[row - 1])
                self._updates += row - at
            if row < len(values):
                self.update({port: int(values[row])})
                seen[row] = self._sim.get(f"{observe}.both")
            at = row + 1
        mask = np.uint64((1 << width) - 1)
        kind: Any = np.uint8 if width <= 8 else np.uint16 if width <= 16 else np.uint32
        unknown = seen >> np.uint64(width)
        return (seen & mask).astype(kind), (unknown & mask ^ mask).astype(kind)

    def _is_whole(self) -> bool:
        """Whether all state has rails: none was given up as unknown for good, nor is kept by a loop of gates."""
        held = sum(not is_wiring(register) for register in self.netlist.registers)
        held += sum(bool(memory.writes) for memory in self.netlist.memories)
        railed = sum(register.name.endswith(".may1") for register in self._sim.netlist.registers)
        return railed == held and not schedule(self.netlist).cuts

    def _racing_rows(self, port: str, values: Recorded) -> list[int]:
        """The updates at which several lines move; never the first after power-up."""
        wide = values.astype(np.uint64)
        moved = wide ^ np.concatenate((np.array([self._now[port]], np.uint64), wide))[:-1]
        several: NDArray[np.bool_] = (moved & (moved - np.uint64(1))) != 0
        if len(several) and not self._updates:
            several[0] = False
        return [int(row) for row in np.flatnonzero(several)]

    def _clock_lines(self) -> frozenset[Line]:
        ports = {value: port for port, value in self.netlist.inputs.items()}
        return frozenset((ports[value], bit) for value, bit in clock_lines(self.netlist))

    def _moving(self, values: Mapping[str, int]) -> list[Line]:
        return [
            (port, bit)
            for port, value in values.items()
            for bit in range(self.netlist.widths[self.netlist.inputs[port]])
            if (value ^ self._now[port]) >> bit & 1
        ]

    # The race

    def _race(self, values: Mapping[str, int], lines: list[Line]) -> None:
        sim = self._sim
        before = sim.snapshot()
        sim.set_many(values)
        sim.settle()
        at_once = self._unknown()
        sim.restore(before)
        clocks = [line for line in lines if line in self._clocks]
        data = [line for line in lines if line not in self._clocks]
        masks: dict[str, int] = {}
        for port, bit in data:
            masks[f"{port}.unknown"] = masks.get(f"{port}.unknown", 0) | 1 << bit
        sim.set_many(masks)
        sim.settle()
        self._every_order(clocks)
        sim.set_many({**values, **dict.fromkeys(masks, 0)})
        sim.settle()
        self._report(lines, at_once)

    def _every_order(self, clocks: list[Line]) -> None:
        """The join of the states that the lines lead to, moved one after another in every order."""
        sim = self._sim
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

    def _unknown(self) -> tuple[dict[str, int], dict[str, int]]:
        """Masks of the unknown bits of every register and every output."""
        state, places = self._sim.snapshot(), self._sim.compiled.layout.registers
        levels = [int.from_bytes(state[p.offset : p.offset + p.size], "little") for p in places]
        named = self._sim.netlist.registers
        registers: dict[str, int] = {}
        for index in range(0, len(levels) - 1, 2):
            if named[index].name.endswith(".may1"):
                name = named[index].name.removesuffix(".may1") or f"register {index // 2}"
                registers[name] = registers.get(name, 0) | levels[index] & levels[index + 1]
        return registers, {port: self._sim.get(f"{port}.unknown") for port in self.netlist.outputs}

    def _report(self, lines: list[Line], at_once: tuple[dict[str, int], dict[str, int]]) -> None:
        registers, outputs = self._unknown()
        lost = tuple(name for name, mask in registers.items() if mask & ~at_once[0][name])
        dark = {port: mask & ~at_once[1][port] for port, mask in outputs.items()}
        dark = {port: mask for port, mask in dark.items() if mask}
        if lost or dark:
            self.races.append(Race(self._updates - 1, tuple(lines), lost, dark))


def _join(one: bytes, other: bytes) -> bytes:
    """The state that covers two states: rails are "may be"."""
    a, b = np.frombuffer(one, np.uint8), np.frombuffer(other, np.uint8)
    return (a | b).tobytes()
