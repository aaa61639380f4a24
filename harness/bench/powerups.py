"""Runs one netlist from many power-ups side by side and says where they agree."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Netlist
from forelight.sim.proof.ternary import OpenUpdate
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp, is_wiring
from numpy.typing import NDArray

from ..hand.ledger import Ledger
from .proof import minded_lines, races

if TYPE_CHECKING:
    from forelight.sim.lanes.variants import Lanes

Values = NDArray[np.unsignedinteger[Any]]

#: Values that are run in one call: at first, and at most (the number doubles in between). Power-ups that have
#: come to the same state are run as one from the next call on.
_FIRST = 64
_LONGEST = 1 << 18
#: Updates of all states from which on lanes repay the time to compile them (some 0.4 s, against 8 ns an update).
_WORTH_LANES = 1 << 25
#: What the source leaves open is drawn anew when so many parts of the updates that have been run have become one more.
_REDRAWN = 4
#: Looks at the states that are kept, beside the last one.
_LOOKS = 256
#: Lanes in one word, beyond which code for them slows down.
_MOST_LANES = 512


@frozen
class Standing:
    """The distinct states of all power-ups when so many updates had been made, that of the first one first."""

    updates: int
    states: Sequence[bytes]


@frozen
class Answer:
    """Outputs of the first power-up, and a mask of the bits on which all agree, after each update.

    Element 0 is the state after power-up, before the first update; so there is one element more than updates.
    `standings` are looks at the states on the way, the last one at the end. `ends` counts the different states in which
    power-ups end, but for what they drew for values that the source leaves open.
    """

    outputs: NDArray[np.uint8]
    agreed: NDArray[np.uint8]
    forks: tuple[OpenUpdate, ...]
    standings: tuple[Standing, ...]
    ends: int


def sampled_power_ups(count: int, seed: int) -> list[PowerUp]:
    """All zero, all one, the declared initial values, and then random ones; good for one run."""
    return [sampled_power_up(number, seed) for number in range(count)]


def sampled_power_up(number: int, seed: int) -> PowerUp:
    """One of them."""
    fixed: list[PowerUp] = [0, 1, "init"]
    return fixed[number] if number < len(fixed) else random.Random(f"{seed}/{number - len(fixed)}")


def power_up_of(netlist: Netlist, number: int, of: int) -> PowerUp:
    """The power-up of this number among so many: of each state that the netlist may wake up in where there are no more,
    else one that is sampled; good for one run."""
    if states(netlist) <= of:
        return _Numbered(number % states(netlist))
    return sampled_power_up(number, 0)


def states(netlist: Netlist) -> int:
    """In how many states the flip-flops and memories of a netlist may wake up."""
    width = sum(register.width for register in netlist.registers if not is_wiring(register))
    return 1 << width + sum(memory.size * memory.width for memory in netlist.memories if memory.writes)


class _Numbered(random.Random):
    """Where bits are drawn by chance, draws those of a number, the lowest first, and then 0."""

    def __init__(self, number: int) -> None:
        super().__init__(0)
        self.left = number

    def getrandbits(self, k: int, /) -> int:
        found = self.left & (1 << k) - 1
        self.left >>= k
        return found

    def __copy__(self) -> _Numbered:
        return _Numbered(self.left)


def steady(values: Values) -> int:
    """The update from which on one line goes up and down and nothing else moves, to the end."""
    if len(values) < 3:
        return len(values)
    moved = values[-1] ^ values[-2]
    if moved == 0 or moved & (moved - 1):
        return len(values)
    other = np.flatnonzero(values[2:] != values[:-2])
    return int(other[-1]) + 2 if len(other) else 0


_MINDED: WeakKeyDictionary[Simulation, int] = WeakKeyDictionary()


def _minded(simulation: Simulation) -> int:
    """The lines that lead to a clock or the like, looked for once in each simulation."""
    if simulation not in _MINDED:
        _MINDED[simulation] = minded_lines(simulation.netlist)
    return _MINDED[simulation]


class Sample:
    """All power-ups on their way through a run; those in the same state are run as one.

    From each of the power-ups with inputs at 0 on there is an update of the port `inputs` at a time. Where several
    lines move in one update, each power-up but the first takes them in an order by chance and by `seed`
    (DEVELOPERS.md, Time 5). The last `free` registers hold what the source leaves open (`Opened.drawn`): the first two
    power-ups keep all 0 and all 1 there, the others draw anew before each of the first updates, and ever more rarely
    then. `expected` is how many updates there will be, as far as that is known.
    """

    def __init__(
        self,
        simulation: Simulation,
        power_ups: Iterable[PowerUp],
        seed: int = 0,
        expected: int = 0,
        free: int = 0,
    ) -> None:
        self.sim, self.seed, self.at = simulation, seed, 0
        places = simulation.compiled.layout.registers
        #: Where each of them lies, and how many bits it has.
        self._free = [(place.offset, place.size, place.width) for place in places[len(places) - free :]]
        self._outputs, self._differ = Ledger(np.uint8, expected + 1), Ledger(np.uint8, expected + 1)
        self.forks: list[OpenUpdate] = []
        self.standings: list[Standing] = []
        self._lanes: Lanes | None = None
        self._minded = _minded(simulation)
        self._before = 0
        images, shown = [], []
        for power_up in power_ups:
            simulation.power_cycle(power_up)
            simulation.settle()
            shown.append(simulation.get("outputs"))
            images.append(simulation.snapshot())
        self._append(shown)
        self._due = 1  # the update after which what the source leaves open is drawn anew
        self._gather(images)

    @property
    def outputs(self) -> NDArray[np.uint8]:
        """Of the first power-up, after power-up and after each update."""
        return self._outputs.rows

    @property
    def differ(self) -> NDArray[np.uint8]:
        """Masks of the bits on which power-ups differ."""
        return self._differ.rows

    def extend(self, values: Values, progress: Callable[[int], None] = lambda done: None) -> None:
        """One update for each of `values`; `progress` is told how many of them have been made."""
        at, length, begun = 0, _FIRST, steady(values)
        for race in [*races(values, self._before, self._minded).tolist(), len(values)]:
            while at < race:
                if at == begun:
                    length = _FIRST  # so that the first looks at what is steady come early
                end = min(at + length, race, begun if at < begun else race)
                part = values[at : min(end, at + self._due - self.at) if self._free else end]
                self._run(part)
                at, length = at + len(part), min(2 * length, _LONGEST)
                progress(at)
            if race < len(values):
                before = int(values[race - 1]) if race else self._before
                self._race(before, int(values[race]))
                at = race + 1
        if len(values):
            self._before = int(values[-1])

    def snapshot(self) -> Any:
        """Where all power-ups are, to give back to `restore`."""
        return (
            len(self._outputs),
            len(self.forks),
            tuple(self.holds),
            tuple(self.states),
            self.at,
            self._before,
            self._due,
        )

    def restore(self, snapshot: Any) -> None:
        """Take up what `snapshot` gave; what came since is forgotten."""
        length, forks, holds, states, self.at, self._before, self._due = snapshot
        self.holds, self.states = list(holds), list(states)
        self._outputs.cut(length)
        self._differ.cut(length)
        del self.forks[forks:]
        self.standings = [one for one in self.standings if one.updates <= self.at]

    def _append(self, shown: Sequence[int]) -> None:
        """What the power-ups show after one update, the first of them first."""
        differ = 0
        for one in shown:
            differ |= one ^ shown[0]
        self._outputs.append(np.array([shown[0]], np.uint8))
        self._differ.append(np.array([differ], np.uint8))

    def _gather(self, images: Sequence[bytes], *, draw: bool = True) -> None:
        """The power-ups hold these now: keep each state once, the first one first.

        When they `draw` depends on how many updates were made, and not on how many at a time.
        """
        if self.at >= self._due:
            self._due = self.at + max(1, self.at // _REDRAWN)
        if self._free and draw:
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
        for offset, size, width in self._free:
            found[offset : offset + size] = drawn(width).to_bytes(size, "little")
        return bytes(found)

    def answer(self) -> Answer:
        if not self.standings or self.standings[-1].updates != self.at:
            self.standings.append(Standing(self.at, self.states))
        ends = len({self._with(state, lambda _: 0) for state in self.states})
        return Answer(self.outputs, ~self.differ, tuple(self.forks), tuple(self.standings), ends)

    # Updates in which one line moves

    def _run(self, values: Values) -> None:
        worth_lanes = len(self.states) > 1 and len(self.states) * len(values) >= _WORTH_LANES
        if worth_lanes and self._can_lie_side_by_side():
            outputs, differ, ends = self._run_lanes(values)
        else:
            outputs, differ, ends = self._run_in_turn(values)
        self._outputs.append(outputs)
        self._differ.append(differ)
        self.at += len(values)
        self._gather([ends[number] for number in self.holds], draw=self.at == self._due)
        self.standings.append(Standing(self.at, self.states))
        del self.standings[_LOOKS:-1]

    def _run_in_turn(self, values: Values) -> tuple[NDArray[np.uint8], NDArray[np.uint8], list[bytes]]:
        outputs, differ, ends = np.empty(0, np.uint8), np.zeros(len(values), np.uint8), list[bytes]()
        for shown, end in self.sim.run_each(self.states, "inputs", values, "outputs"):
            outputs = outputs if ends else shown
            differ |= shown ^ outputs
            ends.append(end)
        return outputs, differ, ends

    def _can_lie_side_by_side(self) -> bool:
        if self.sim.compiled.plan.cuts:
            return False  # what a loop remembers is in no register
        if self._lanes is None:
            from forelight.sim.lanes.variants import Lanes

            count = min(64 * -(-len(self.holds) // 64), _MOST_LANES)
            self._lanes = Lanes(self.sim.netlist, count)
        return self._lanes.side_by_side

    def _run_lanes(self, values: Values) -> tuple[NDArray[np.uint8], NDArray[np.uint8], list[bytes]]:
        """The states side by side, the first of them in lane 0 of every word."""
        lanes = self._lanes
        assert lanes is not None
        first, others = self.states[0], self.states[1:]
        outputs, differ, ends = np.empty(0, np.uint8), np.zeros(len(values), np.uint8), list[bytes]()
        for start in range(0, len(others), lanes.lanes - 1):
            group = others[start : start + lanes.lanes - 1]
            lanes.load([first, *group, *[first] * (lanes.lanes - 1 - len(group))])
            outputs, apart = lanes.run_agreement({"inputs": values}, "outputs")
            differ |= apart
            saved = lanes.save()
            ends = [saved[0], *ends[1:], *saved[1 : len(group) + 1]]
        return outputs, differ, ends

    # Updates in which several lines move

    def _race(self, before: int, after: int) -> None:
        """Each power-up takes some lines first and the rest then; the first power-up takes all at once."""
        moved = before ^ after
        orders = [moved] * len(self.holds)
        chance = random.Random(f"{self.seed}/race {self.at}")
        orders[1:] = [chance.getrandbits(moved.bit_length()) & moved for _ in orders[1:]]
        ways = dict.fromkeys([*((state, moved) for state in range(len(self.states)))])
        ways |= dict.fromkeys(zip(self.holds, orders, strict=True))
        ends: dict[tuple[int, int], bytes] = {}
        shown: list[int] = []
        self.at += 1
        for state, order in ways:
            self._take(self.states[state], before ^ order, after)
            shown.append(self.sim.get("outputs"))
            ends[state, order] = self.sim.snapshot()
        self._append(shown)
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
            lines = tuple(("inputs", bit) for bit in range(moved.bit_length()) if moved >> bit & 1)
            self.forks.append(OpenUpdate(self.at - 1, lines, tuple(names)))

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
