"""The proof of what is settled from any power-up, whichever way a race falls and whatever glitches on the way.

Lines that move in one update race each other, and one that moves alone may glitch behind gates (DEVELOPERS.md,
Time 5). Both are found by three-valued simulation (Eichelberger 1965), on a netlist in which every bit carries
what it may be. There are two such netlists:

*Plain.* Where every clock and every control is a line of its own, nothing can glitch that matters: a line has one
clean edge, so a register on it takes its data for certain, and only data that moves at the same instant is
unknown, being old or new. One line alone takes an ordinary update of `rewrite.py`, in machine code; several
together are raced (`races.py`).

*In rounds.* Gated, ripple and self-made clocks, controls made by logic, latches and loops of gates need the
moves themselves: `proof/rounds/rewrite.py`. Where a netlist grows beyond `MOST_CELLS` gates there, whatever is not
plain is unknown for good (`plain.py`), and `left_open` says so.

*Why a race on a plain netlist is sound.* Take any order of the lines, one after another. Before, between and after
the clock lines, each other line holds its old or its new value, which unknown covers; a change of it
between them is an update of a netlist whose inputs lie within the same unknown, and a state at rest under
unknown inputs covers it: joins are closed under further edges of unknown clocks, and everything else is
monotone. A clock that is also data is seen at its new level (DEVELOPERS.md, Time 4).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from copy import copy
from dataclasses import field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..compile.compiled import Compiled
from ..errors import UsageError
from ..frozen import frozen
from ..loops import LoopError
from ..netlist import Netlist, source_line
from ..recurrence import recurring_samples
from ..schedule import schedule
from ..simulation import Recorded, Simulation
from ..state import is_wiring
from .clocks import clock_lines
from .memories import untracked
from .plain import given_up, tamed, wild
from .races import InputBit, Rails, race
from .rewrite import unknowns
from .rounds.elements import closing
from .rounds.rewrite import AT_ONCE, LOST, RUN, TooManyCells, in_rounds

#: Gates up to which a netlist is run in rounds: some 10 s to compile, and 10,000 updates a second.
MOST_CELLS = 100_000
#: Gates that are run in rounds however long the run is; and gates times updates, half a minute's work, of more of them.
_FEW_CELLS, _WORK = 12_000, 1 << 36
#: Races that one run names; the claims of a run count them all.
MOST_RACES = 64
#: The widest output that a run observes: its value, its mask and one bit more make a word.
WIDEST = 31
#: Updates whose bits are told apart at a time.
_BLOCK = 1 << 20
#: Updates that are made before a first look at what was lost; each further look comes after twice as many.
_FIRST = 1 << 8


@frozen
class OpenUpdate:
    """One update that left something unsettled which would be settled if all had moved at one instant.

    `update` counts from 0 at the first one after power-up. `lines` are those that moved, bit 0 of a port first.
    `registers` are the names of what became unsettled (memories and nets of loops too); `outputs` has for each port
    that was looked at a mask, without ports whose mask is 0.
    """

    update: int
    lines: tuple[InputBit, ...]
    registers: tuple[str, ...]
    outputs: Mapping[str, int] = field(default_factory=dict)

    @property
    def is_glitch(self) -> bool:
        """Whether one line alone decided it, by a glitch."""
        return len(self.lines) == 1

    def __str__(self) -> str:
        lines = ", ".join(f"{port}[{bit}]" for port, bit in self.lines)
        left = ", ".join((*self.registers, *self.outputs))
        moved = "move together and leave" if len(self.lines) > 1 else "may glitch and leaves"
        return f"update {self.update}: {lines} {moved} {left} unsettled"


@frozen
class Unsettled:
    """What a netlist remembers and of which a bit is not proved: a register, a memory, a net that closes a loop.

    `line` is where its source stands, if that is known. `key` is the value that it drives, or -1 minus the number of
    a memory.
    """

    name: str
    line: str
    key: int

    # There are many, asked for again and again; a proof makes one of each.
    __eq__, __hash__ = object.__eq__, object.__hash__


def worth_following(updates: int) -> int:
    """Gates for rounds that are worth while in a run of so many updates, for `most_cells` of a proof."""
    return max(_FEW_CELLS, min(MOST_CELLS, _WORK // max(updates, 1)))


class Proof:
    """A netlist run from all power-ups at once: every answer is a value and a mask of the bits that are proved.

    With `known_start`, registers and memories begin with what the source states. `races` holds what the updates so far
    left unsettled by races or glitches; a `run` names at most `MOST_RACES` of them. `in_rounds` says
    whether glitches and loops are followed; it is found from the netlist, or asked for. That takes gates; where it
    takes more than `most_cells`, what they were to follow counts as unknown for good, and `left_open` says so in words;
    it is `plain` if there is nothing that takes any.
    """

    def __init__(
        self,
        netlist: Netlist,
        *,
        known_start: bool = False,
        in_rounds: bool = False,
        most_cells: int = MOST_CELLS,
    ) -> None:
        self.netlist = netlist
        found = wild(netlist)
        rewritten = _rounds(netlist, known_start, most_cells) if in_rounds or found else None
        self.in_rounds = rewritten is not None
        self.plain = not self.in_rounds and not found
        self.left_open = untracked(netlist, self.in_rounds)
        if rewritten is None:
            self.left_open += given_up(netlist, found) if found else ()
            rewritten = unknowns(tamed(netlist, found), clean_clocks=True, known_start=known_start)
        self._sim = Simulation(rewritten, "init", compiled=Compiled(rewritten, passes=False))
        self._rails = Rails(self._sim)
        self._clocks = self._clock_lines()
        self.power_cycle()

    def again(self) -> Proof:
        """Another one of the same netlist, from power-up on, which shares the code."""
        twin = copy(self)
        twin._sim = Simulation(self._sim.netlist, "init", compiled=self._sim.compiled)
        twin._rails = Rails(twin._sim)
        twin.power_cycle()
        return twin

    def power_cycle(self) -> None:
        """Power off and on: everything unknown again, inputs 0, no races."""
        self._sim.power_cycle("init")
        if self.in_rounds:
            self._sim.settle()
            self._sim.set(RUN, 1)
        self._now = dict.fromkeys(self.netlist.inputs, 0)
        self._updates = 0
        self.races: list[OpenUpdate] = []

    def snapshot(self) -> tuple[bytes, dict[str, int], int, int]:
        """All that was found so far, to give back to `restore` of this proof."""
        return self._sim.snapshot(), dict(self._now), self._updates, len(self.races)

    def restore(self, snapshot: tuple[bytes, dict[str, int], int, int]) -> None:
        """Take up a state that `snapshot` gave earlier; races since then are forgotten."""
        state, now, self._updates, races = snapshot
        self._sim.restore(state)
        self._now = dict(now)
        del self.races[races:]

    @property
    def settled(self) -> bool:
        """Whether all that the netlist remembers is proved: every power-up and every order have led to one state.

        Never with a written memory that is too large for gates.
        """
        return not self.unsettled()

    def unsettled(self) -> tuple[Unsettled, ...]:
        """All that the netlist remembers and that is not proved; what is not followed is among it.

        A written memory that is too large for gates always is.
        """
        remembered, numbers = self._remembered
        # What is not followed has the number beyond the last, which is always open.
        is_open = np.append(self._rails.open(self._sim), True)
        return tuple(remembered[is_open[numbers]].tolist())

    @cached_property
    def _remembered(self) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
        """All that the netlist remembers, each with its number among what has rails."""
        netlist = self.netlist
        railed = Counter(
            register.name.removesuffix(".may1")
            for register in self._sim.netlist.registers
            if register.name.endswith(".may1")
        )
        kept = [
            Unsettled(register.name or f"register {number}", source_line(register.src), register.output)
            for number, register in enumerate(netlist.registers)
            if not is_wiring(register)
        ]
        kept += [
            Unsettled(memory.name or f"memory {number}", source_line(memory.src), -1 - number)
            for number, memory in enumerate(netlist.memories)
            if memory.writes
        ]
        loops = closing(netlist, schedule(netlist))
        kept += [Unsettled(name, source_line(cell.src), cell.output) for cell, name in loops]
        named = Counter(one.name for one in kept)
        number = {name: n for n, name in enumerate(self._rails.names)}
        followed = [number[one.name] if railed[one.name] == named[one.name] else len(number) for one in kept]
        return np.array(kept, object), np.array(followed, np.int64)

    def get(self, name: str) -> tuple[int, int]:
        """Value and mask of known bits of an output, or of any name of the source."""
        if name in self.netlist.outputs:
            word = self.netlist.outputs[name]
            return self._sim.get(name), self._sim.get(f"{name}.unknown") ^ ((1 << word.width) - 1)
        may0, may1 = self._sim.get(f"{name}.may0"), self._sim.get(f"{name}.may1")
        return may1 & ~may0, may0 ^ may1

    def update(self, values: Mapping[str, int]) -> None:
        """One update: the ports take their values at one instant, and what moves races."""
        lines = self._moving(values)
        self._updates += 1
        sim = self._sim
        if self.in_rounds:
            before = sim.snapshot()
            sim.set_many(values)
            sim.settle()
            if sim.get(LOST):
                after = sim.snapshot()
                sim.restore(before)
                self._at_once({**values, AT_ONCE: 1}, after, lines)
        elif self._updates == 1 or len(lines) < 2:
            sim.set_many(values)
            sim.settle()
        else:
            before = sim.snapshot()
            race(sim, values, lines, self._clocks)
            after = sim.snapshot()
            sim.restore(before)
            self._at_once(values, after, lines)
        self._now |= values

    def run(self, port: str, values: Recorded, observe: str) -> tuple[Recorded, Recorded]:
        """One update for each element of `values` on `port`: values of `observe` and masks of its known bits.

        Both arrays have one element an update, of the width that the output needs; a bit that is not known is
        0 in the first. The other ports keep what `update` gave them last. `observe` is an output of at most
        `WIDEST` bits.
        """
        width, most = self._observed(port, observe), len(self.races) + MOST_RACES
        kind: Any = np.uint8 if width <= 8 else np.uint16 if width <= 16 else np.uint32
        mask = np.uint64((1 << width) - 1)
        found, known = np.empty(len(values), kind), np.empty(len(values), kind)
        for first in range(0, len(values), _BLOCK):
            block = slice(first, first + _BLOCK)
            seen = self._seen(port, values[block], observe, most)
            found[block] = seen & mask
            known[block] = seen >> np.uint64(width) & mask ^ mask
        return found, known

    def _seen(self, port: str, values: Recorded, observe: str, most: int) -> NDArray[np.uint64]:
        """Of each update value and mask of unknown bits side by side; `most` races are named."""
        seen = np.empty(len(values), np.uint64)
        at = 0
        starts = [] if self.in_rounds else self._racing_rows(port, values)
        for row in [*starts, len(values)]:
            if at < row:
                self._quiet(port, values[at:row], observe, seen[at:row], most)
            if row < len(values):
                self.update({port: int(values[row])})
                seen[row] = self._sim.get(f"{observe}.both")
            at = row + 1
        return seen

    def _quiet(self, port: str, values: Recorded, observe: str, seen: NDArray[np.uint64], most: int) -> None:
        """Updates in machine code; one that loses something in rounds is made by itself, so that it is named."""
        at, both, width = 0, f"{observe}.both", self.netlist.outputs[observe].width
        size = _FIRST
        while at < len(values):
            block = values[at : at + size]
            before = self._sim.snapshot()
            seen[at : at + len(block)] = recurring_samples(self._sim, port, block, both)
            rows = np.flatnonzero(seen[at : at + len(block)] >> np.uint64(2 * width))
            if len(rows) and len(self.races) < most:
                lost = int(rows[0])
                self._sim.restore(before)
                if lost:
                    recurring_samples(self._sim, port, block[:lost], both)
                    self._now[port] = int(block[lost - 1])
                self._updates += lost
                self.update({port: int(block[lost])})
                seen[at + lost] = self._sim.get(both)
                at, size = at + lost + 1, _FIRST
                continue
            self._updates += len(block)
            self._now[port] = int(block[-1])
            at, size = at + len(block), 2 * size

    def _observed(self, port: str, observe: str) -> int:
        """The width of an output that a run can watch."""
        if port not in self.netlist.inputs or observe not in self.netlist.outputs:
            missing = port if port not in self.netlist.inputs else observe
            raise UsageError(
                f"no port is called {missing}",
                place=self.netlist.name,
                remedy=f"inputs are {', '.join(self.netlist.inputs)}; outputs {', '.join(self.netlist.outputs)}",
            )
        width = self.netlist.outputs[observe].width
        if width > WIDEST:
            raise UsageError(
                f"output {observe} has {width} bits",
                place=self.netlist.name,
                remedy=f"observe at most {WIDEST} bits",
            )
        return width

    def _racing_rows(self, port: str, values: Recorded) -> list[int]:
        """The updates at which several lines move; never the first after power-up."""
        wide = values.astype(np.uint64)
        moved = wide ^ np.concatenate((np.array([self._now[port]], np.uint64), wide))[:-1]
        several: NDArray[np.bool_] = (moved & (moved - np.uint64(1))) != 0
        if len(several) and not self._updates:
            several[0] = False
        return [int(row) for row in np.flatnonzero(several)]

    def _clock_lines(self) -> frozenset[InputBit]:
        ports = {value: port for port, value in self.netlist.inputs.items()}
        return frozenset((ports[value], bit) for value, bit in clock_lines(self.netlist))

    def _moving(self, values: Mapping[str, int]) -> list[InputBit]:
        return [
            (port, bit)
            for port, value in values.items()
            for bit in range(self.netlist.widths[self.netlist.inputs[port]])
            if (value ^ self._now[port]) >> bit & 1
        ]

    # Races

    def _at_once(self, values: Mapping[str, int], after: bytes, lines: list[InputBit]) -> None:
        """Note what is unknown in `after` and would not be if all lines moved at one instant; go on from `after`."""
        sim = self._sim
        sim.set_many(values)
        try:
            sim.settle()
        except LoopError:  # at one instant a ring of registers runs on, so there is nothing to compare with
            sim.restore(after)
            return
        state, shown = self._rails.unknown(sim), self._unknown_outputs()
        sim.restore(after)
        lost = tuple(name for name, mask in self._rails.unknown(sim).items() if mask & ~state.get(name, 0))
        dark = {port: mask & ~shown[port] for port, mask in self._unknown_outputs().items()}
        dark = {port: mask for port, mask in dark.items() if mask}
        if lost or dark:
            self.races.append(OpenUpdate(self._updates - 1, tuple(lines), lost, dark))

    def _unknown_outputs(self) -> dict[str, int]:
        return {port: self._sim.get(f"{port}.unknown") for port in self.netlist.outputs}


def _rounds(netlist: Netlist, known_start: bool, most_cells: int) -> Netlist | None:
    """The netlist in rounds, where that is not too large."""
    try:
        return in_rounds(netlist, known_start=known_start, most_cells=most_cells)
    except TooManyCells:
        return None
