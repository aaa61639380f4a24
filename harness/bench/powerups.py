"""Runs one netlist from many power-ups side by side and says where they agree."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from forelight.sim.lanes.variants import Lanes
from forelight.sim.loops import LoopError
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from .proof import Fork, races

Values = NDArray[np.unsignedinteger[Any]]

#: Values that are run in one call: at first, and at most (the number doubles in between). Power-ups that have
#: come to the same state are run as one from the next call on.
_FIRST = 64
_LONGEST = 1 << 18
#: What the source leaves open is drawn anew after one part in so many of the updates that have been run.
_REDRAWN = 4
#: Updates of all states from which on lanes repay the time to compile them (some 0.4 s, against 8 ns an update).
_WORTH_LANES = 1 << 25
#: Lanes in one word, beyond which code for them slows down.
_MOST_LANES = 512


@dataclass(frozen=True)
class Standing:
    """The distinct states of all power-ups when so many updates had been made, that of the first one first."""

    updates: int
    states: Sequence[bytes]


@dataclass(frozen=True)
class Answer:
    """Outputs of the first power-up, and a mask of the bits on which all agree, after each update.

    Element 0 is the state after power-up, before the first update; so there is one element more than updates.
    `standings` are looks at the states on the way, the last one at the end. `ends` counts the different states in which
    power-ups end, but for what they drew for values that the source leaves open.
    """

    outputs: NDArray[np.uint8]
    agreed: NDArray[np.uint8]
    forks: tuple[Fork, ...]
    standings: tuple[Standing, ...]
    ends: int


def sampled_power_ups(count: int, seed: int) -> list[PowerUp]:
    """All zero, all one, the declared initial values, and then random ones; good for one run."""
    fixed: list[PowerUp] = [0, 1, "init"]
    return fixed[:count] + [random.Random(f"{seed}/{number}") for number in range(count - len(fixed))]


def run_power_ups(
    simulation: Simulation,
    values: Values,
    power_ups: Iterable[PowerUp],
    seed: int = 0,
    progress: Callable[[int], None] = lambda done: None,
    free: int = 0,
) -> Answer:
    """One update of the port `inputs` for each of `values`, from each of the power-ups with inputs at 0.

    Where several lines move in one update, each power-up but the first takes them in an order by chance and by `seed`
    (DEVELOPERS.md, Time 5). The last `free` registers hold what the source leaves open (`Opened.drawn`): the first two
    power-ups keep all 0 and all 1 there, the others draw anew before each of the first updates, and ever more rarely
    then. `progress` is told how many values have been run.
    """
    sample = _Sample(simulation, power_ups, seed, len(values), free)
    at, length, begun = 0, _FIRST, steady(values)
    for race in [*races(simulation.netlist, values).tolist(), len(values)]:
        while at < race:
            if at == begun:
                length = _FIRST  # so that the first looks at what is steady come early
            if free:
                length = max(1, (at - begun if at >= begun else at) // _REDRAWN)
            part = values[at : min(at + length, race, begun if at < begun else race)]
            sample.run(part)
            at, length = at + len(part), min(2 * length, _LONGEST)
            progress(at)
        if race < len(values):
            before = int(values[race - 1]) if race else 0
            sample.race(before, int(values[race]))
            at = race + 1
    return sample.answer()


def steady(values: Values) -> int:
    """The update from which on one line goes up and down and nothing else moves, to the end."""
    if len(values) < 3:
        return len(values)
    moved = values[-1] ^ values[-2]
    if moved == 0 or moved & (moved - 1):
        return len(values)
    other = np.flatnonzero(values[2:] != values[:-2])
    return int(other[-1]) + 2 if len(other) else 0


class _Sample:
    """All power-ups on their way through a run; those in the same state are run as one."""

    def __init__(
        self, simulation: Simulation, power_ups: Iterable[PowerUp], seed: int, updates: int, free: int
    ) -> None:
        self.sim, self.seed, self.at = simulation, seed, 0
        places = simulation.compiled.layout.registers
        self._free = places[len(places) - free :]
        self.outputs = np.empty(updates + 1, np.uint8)
        self.differ = np.zeros(updates + 1, np.uint8)
        self.forks: list[Fork] = []
        self.standings: list[Standing] = []
        self._lanes: Lanes | None = None
        images = []
        for number, power_up in enumerate(power_ups):
            simulation.restart(power_up)
            simulation.settle()
            found = simulation.get("outputs")
            if number == 0:
                self.outputs[0] = found
            self.differ[0] |= found ^ int(self.outputs[0])
            images.append(simulation.snapshot())
        self._gather(images)

    def _gather(self, images: Sequence[bytes]) -> None:
        """The power-ups hold these now: keep each state once, the first one first."""
        if self._free:
            chance = random.Random(f"{self.seed}/open {self.at}")
            images = [
                self._with(image, chance.getrandbits) if n > 1 else image for n, image in enumerate(images)
            ]
        numbers: dict[bytes, int] = {}
        self.holds = [numbers.setdefault(image, len(numbers)) for image in images]
        self.states = list(numbers)

    def _with(self, image: bytes, drawn: Callable[[int], int]) -> bytes:
        """A state with other values for what the source leaves open; `drawn` gives one of so many bits."""
        found = bytearray(image)
        for place in self._free:
            found[place.offset : place.offset + place.size] = drawn(place.width).to_bytes(
                place.size, "little"
            )
        return bytes(found)

    def answer(self) -> Answer:
        if not self.standings or self.standings[-1].updates != self.at:
            self.standings.append(Standing(self.at, self.states))
        ends = len({self._with(state, lambda _: 0) for state in self.states})
        return Answer(self.outputs, ~self.differ, tuple(self.forks), tuple(self.standings), ends)

    # Updates in which one line moves

    def run(self, values: Values) -> None:
        part = slice(self.at + 1, self.at + len(values) + 1)
        worth_lanes = len(self.states) > 1 and len(self.states) * len(values) >= _WORTH_LANES
        if worth_lanes and self._can_lie_side_by_side():
            ends = self._run_lanes(values, part)
        else:
            ends = []
            for number, state in enumerate(self.states):
                self.sim.restore(state)
                shown = self.sim.run_samples("inputs", values, "outputs")
                if number == 0:
                    self.outputs[part] = shown
                else:
                    self.differ[part] |= shown ^ self.outputs[part]
                ends.append(self.sim.snapshot())
        self._gather([ends[number] for number in self.holds])
        self.at += len(values)
        self.standings.append(Standing(self.at, self.states))

    def _can_lie_side_by_side(self) -> bool:
        if self.sim.compiled.plan.cuts:
            return False  # what a loop remembers is in no register
        if self._lanes is None:
            count = min(64 * -(-len(self.holds) // 64), _MOST_LANES)
            self._lanes = Lanes(self.sim.netlist, count)
        return self._lanes.side_by_side

    def _run_lanes(self, values: Values, part: slice) -> list[bytes]:
        """The states side by side, the first of them in lane 0 of every word."""
        lanes = self._lanes
        assert lanes is not None
        first, others = self.states[0], self.states[1:]
        ends: list[bytes] = []
        for start in range(0, len(others), lanes.lanes - 1):
            group = others[start : start + lanes.lanes - 1]
            lanes.load([first, *group, *[first] * (lanes.lanes - 1 - len(group))])
            self.outputs[part], differ = lanes.run_agreement({"inputs": values}, "outputs")
            self.differ[part] |= differ
            saved = lanes.save()
            ends = [saved[0], *ends[1:], *saved[1 : len(group) + 1]]
        return ends

    # Updates in which several lines move

    def race(self, before: int, after: int) -> None:
        """Each power-up takes some lines first and the rest then; the first power-up takes all at once."""
        moved = before ^ after
        orders = [moved] * len(self.holds)
        chance = random.Random(f"{self.seed}/race {self.at}")
        orders[1:] = [chance.getrandbits(moved.bit_length()) & moved for _ in orders[1:]]
        ways = dict.fromkeys([*((state, moved) for state in range(len(self.states)))])
        ways |= dict.fromkeys(zip(self.holds, orders, strict=True))
        ends: dict[tuple[int, int], bytes] = {}
        self.at += 1
        for state, order in ways:
            self._take(self.states[state], before ^ order, after)
            shown = self.sim.get("outputs")
            if not ends:
                self.outputs[self.at] = shown
            self.differ[self.at] |= shown ^ int(self.outputs[self.at])
            ends[state, order] = self.sim.snapshot()
        self._compare(ends, moved)
        self._gather([ends[way] for way in zip(self.holds, orders, strict=True)])

    def _take(self, state: bytes, between: int, after: int) -> None:
        sim = self.sim
        sim.restore(state)
        try:
            sim.set("inputs", between)
            sim.settle()
        except LoopError:  # it would run free for that moment only: where it stops is for all at once to say
            sim.restore(state)
        sim.set("inputs", after)
        sim.settle()

    def _compare(self, ends: dict[tuple[int, int], bytes], moved: int) -> None:
        """Note it where one state has come to different ends."""
        names: dict[str, None] = {}
        for (state, order), image in ends.items():
            if image != ends[state, moved] and order != moved:
                names |= dict.fromkeys(self._unlike(image, ends[state, moved]))
        if names:
            self.forks.append(Fork(self.at - 1, moved, tuple(names)))

    def _unlike(self, one: bytes, other: bytes) -> list[str]:
        """The names of the registers and memories in which two states differ."""
        layout, netlist = self.sim.compiled.layout, self.sim.netlist
        found = [
            register.name
            for register, place in zip(netlist.registers, layout.registers, strict=True)
            if one[place.offset : place.offset + place.size]
            != other[place.offset : place.offset + place.size]
        ]
        for memory, rows in zip(netlist.memories, layout.memories, strict=True):
            part = slice(rows.first.offset, rows.first.offset + rows.first.size * rows.count)
            if one[part] != other[part]:
                found.append(memory.name)
        return found or ["a loop"] * bool(self.sim.compiled.plan.cuts)
