"""The slow, obvious interpreter of a netlist: the judge of the compiled simulation on whole netlists.

It follows DEVELOPERS.md, Time 4, step by step and on plain integers. Cells get their meaning from
`evaluate`; what depends on nothing unsettled is computed once and in order, so that no glitch is seen that
a loop does not make. A loop is swept until it is quiet.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from .errors import UsageError
from .evaluate import evaluate
from .loops import LoopError
from .netlist import Cell, Const, Netlist, Register, Word, WritePort


@dataclass(frozen=True, slots=True)
class Node:
    """Something that settles: a cell, a register with overrides, a memory that is written without a clock.

    What nodes read and drive are value numbers, and `-1 - n` for the rows of memory n.
    """

    drives: int
    reads: frozenset[int]
    update: Callable[[], bool]
    src: str
    holds: bool = False  # a register: it keeps what it has until the cells around it have come to rest


@dataclass(frozen=True, slots=True)
class Settled:
    """Nodes that are computed once in this order, or, in a loop, until nothing moves; `inner` comes to rest before."""

    nodes: Sequence[Node]
    is_loop: bool
    inner: Sequence[Settled] = ()


def ordered(nodes: Sequence[Node]) -> list[Settled]:
    """Groups of nodes, each after all that it reads; a group of several, or one that reads itself, is a
    loop. What registers do not hold in a loop is in groups of its own inside.

    Two walks, as S. R. Kosaraju found (in Aho, Hopcroft and Ullman, Data Structures and Algorithms, 1983,
    section 6.7): number the nodes as the walk along the readers leaves them, then walk back from the last.
    """
    by_driven = {node.drives: number for number, node in enumerate(nodes)}
    sources = [[by_driven[read] for read in sorted(node.reads) if read in by_driven] for node in nodes]
    readers: list[list[int]] = [[] for _ in nodes]
    for number, found in enumerate(sources):
        for source in found:
            readers[source].append(number)
    left: list[int] = []
    seen: set[int] = set()
    for start in range(len(nodes)):
        left += _walk(start, readers, seen)
    groups = []
    seen = set()
    for start in reversed(left):
        found = sorted(_walk(start, sources, seen))
        if found:
            is_loop = len(found) > 1 or found[0] in sources[found[0]]
            inside = [nodes[number] for number in found]
            held = [node for node in inside if node.holds]
            inner = ordered([node for node in inside if not node.holds]) if is_loop and held else ()
            groups.append(Settled(held or inside, is_loop, inner))
    return groups


def _walk(start: int, along: Sequence[Sequence[int]], seen: set[int]) -> list[int]:
    """The numbers reached from `start` that were not seen before, in the order in which the walk leaves
    them."""
    if start in seen:
        return []
    seen.add(start)
    left: list[int] = []
    path = [(start, iter(along[start]))]
    while path:
        number, following = path[-1]
        for nxt in following:
            if nxt not in seen:
                seen.add(nxt)
                path.append((nxt, iter(along[nxt])))
                break
        else:
            left.append(number)
            path.pop()
    return left


#: A loop that is not quiet after so many sweeps, or a ripple of clocks after so many rounds, is called
#: free-running.
SWEEPS = 4096

PowerUp = int | str | random.Random


class Reference:
    """One design, run by the rules: `set` inputs, `settle`, `get` anything that has a name.

    `power_up` is 0 or 1 for every bit of state, "init" for the initial values of the source (an undefined
    bit is 0), or a `random.Random`, asked for each register and then for each row of each memory in the
    order of the record. Registers that are never assigned and memories that are never written keep their
    declared contents.
    """

    def __init__(self, netlist: Netlist, power_up: PowerUp = 0) -> None:
        self.netlist = netlist
        self._values = [0] * len(netlist.widths)
        self._rows: list[list[int]] = []
        self._power_up(power_up)
        self._groups = ordered(list(self._nodes()))
        self._ports = [(n, port) for n, memory in enumerate(netlist.memories) for port in memory.writes]
        self._clocks: list[int] | None = None

    def set(self, name: str, value: int) -> None:
        """Drive input `name`; nothing happens before `settle`."""
        if name not in self.netlist.inputs:
            raise UsageError(f"{name} is not an input of {self.netlist.name}", remedy="see netlist.inputs")
        number = self.netlist.inputs[name]
        if not 0 <= value < 1 << self.netlist.widths[number]:
            raise UsageError(f"{value} does not fit input {name}", remedy="give an unsigned number that fits")
        self._values[number] = value

    def get(self, name: str) -> int:
        """The settled value of an output, input or name of the source."""
        for named in (self.netlist.outputs, self.netlist.names):
            if name in named:
                return self._word(named[name])
        if name in self.netlist.inputs:
            return self._values[self.netlist.inputs[name]]
        raise UsageError(f"{self.netlist.name} has nothing named {name}", remedy="see netlist.names")

    def rows(self, memory: int) -> list[int]:
        """The rows of memory number `memory`, lowest address first."""
        return list(self._rows[memory])

    def settle(self) -> None:
        """One update; LoopError if it never comes to rest. The first one after power-up makes no edges."""
        self._propagate()
        before, now = self._clocks, self._clock_levels()
        rounds = 0
        while before is not None and before != now:
            if rounds == SWEEPS:
                raise LoopError(
                    f"the clocks of {self.netlist.name} do not come to rest",
                    remedy="break the loop through them",
                )
            self._commit(before, now)
            self._propagate()
            before, now = now, self._clock_levels()
            rounds += 1
        self._clocks = now

    def _word(self, word: Word) -> int:
        result = at = 0
        for part in word.parts:
            if isinstance(part, Const):
                bits = _defined(part)
            else:
                bits = self._values[part.value] >> part.low & ((1 << part.width) - 1)
            result |= bits << at
            at += part.width
        return result

    def _power_up(self, power_up: PowerUp) -> None:
        def first(init: Const, keeps: bool) -> int:
            if keeps or power_up == "init":
                return _defined(init)
            if isinstance(power_up, random.Random):
                return power_up.getrandbits(init.width) if init.width else 0
            return (1 << init.width) - 1 if power_up else 0

        if not isinstance(power_up, random.Random) and power_up not in (0, 1, "init"):
            raise UsageError(f"power-up {power_up!r}", remedy="give 0, 1, 'init' or a random.Random")
        for register in self.netlist.registers:
            self._values[register.output] = first(register.init, _never_assigned(register))
        for memory in self.netlist.memories:
            self._rows.append([first(row, not memory.writes) for row in memory.init])

    # Settling: everything that follows its inputs without a clock.

    def _nodes(self) -> Iterator[Node]:
        for cell in self.netlist.cells:
            rows = {-1 - cell.int_param("memory")} if cell.kind == "read" else set()
            yield Node(cell.output, _values(cell.operands) | rows, partial(self._update_cell, cell), cell.src)
        for register in self.netlist.registers:
            if register.overrides:
                yield Node(
                    register.output,
                    _values(register.forcing),
                    partial(self._update_register, register),
                    register.src,
                    holds=True,
                )
        for number, memory in enumerate(self.netlist.memories):
            ports = [port for port in memory.writes if port.clock is None]
            if ports:
                words = [word for port in ports for word in port.operands]
                yield Node(-1 - number, _values(words), partial(self._update_memory, number), memory.src)

    def _update_cell(self, cell: Cell) -> bool:
        operands = [self._word(word) for word in cell.operands]
        widths = [word.width for word in cell.operands]
        params = cell.params
        if cell.kind == "read":
            number = cell.int_param("memory")
            memory = self.netlist.memories[number]
            operands += self._rows[number]
            params = {"offset": memory.offset}
        value = evaluate(cell.kind, params, operands, widths, self.netlist.widths[cell.output])
        changed = value != self._values[cell.output]
        self._values[cell.output] = value
        return changed

    def _update_register(self, register: Register) -> bool:
        value = self._overridden(register, self._values[register.output])
        changed = value != self._values[register.output]
        self._values[register.output] = value
        return changed

    def _overridden(self, register: Register, value: int) -> int:
        for override in register.overrides:
            mask = self._word(override.mask)
            value = value & ~mask | self._word(override.value) & mask
        return value

    def _update_memory(self, number: int) -> bool:
        before = list(self._rows[number])
        for port in self.netlist.memories[number].writes:
            if port.clock is None:
                self._write(number, *self._asked(port))
        return before != self._rows[number]

    def _propagate(self) -> None:
        for group in self._groups:
            self._settle_group(group)

    def _settle_group(self, group: Settled) -> None:
        order, chance, sweeps = group.nodes, random.Random(0), 0
        while True:
            for inner in group.inner:
                self._settle_group(inner)
            changed = [node for node in order if node.update()]
            if not group.is_loop or not changed:
                return
            if sweeps == SWEEPS:
                raise self._free_running(changed)
            sweeps += 1
            if sweeps > 2 * len(order):
                order = chance.sample(order, len(order))

    def _free_running(self, nodes: Sequence[Node]) -> LoopError:
        driven = {node.drives for node in nodes}
        names = sorted(name for name, word in self.netlist.names.items() if driven & set(word.values()))
        return LoopError(
            f"a loop through {', '.join(names) or 'nets without a name'} never comes to rest",
            place=" and ".join(sorted({node.src for node in nodes if node.src})),
            remedy="break it with a register",
        )

    # Edges: everything that waits for a clock.

    def _clock_levels(self) -> list[int]:
        """One level for each register and then for each write port; 0 where there is no clock."""
        clocks = [register.clock for register in self.netlist.registers] + [
            port.clock for _, port in self._ports
        ]
        return [self._word(clock) if clock is not None else 0 for clock in clocks]

    def _commit(self, before: Sequence[int], now: Sequence[int]) -> None:
        """Registers and memories that saw their edge take what was settled before any of them moved (Time 4)."""
        clocked: list[Register | WritePort] = [*self.netlist.registers, *(port for _, port in self._ports)]
        seen = [
            old != new and bool(new) == thing.rising
            for old, new, thing in zip(before, now, clocked, strict=True)
        ]
        states = [
            (register.output, self._overridden(register, self._word(register.data)))
            for register, edge in zip(self.netlist.registers, seen, strict=False)
            if edge
        ]
        writes = [
            (number, *self._asked(port))
            for (number, port), edge in zip(self._ports, seen[len(self.netlist.registers) :], strict=True)
            if edge
        ]
        for output, state in states:
            self._values[output] = state
        for write in writes:
            self._write(*write)

    def _asked(self, port: WritePort) -> tuple[int, int, int]:
        return self._word(port.address), self._word(port.data), self._word(port.enable)

    def _write(self, number: int, address: int, data: int, enable: int) -> None:
        memory = self.netlist.memories[number]
        row = address - memory.offset
        if 0 <= row < memory.size:
            self._rows[number][row] = self._rows[number][row] & ~enable | data & enable


def _defined(constant: Const) -> int:
    return constant.bits & ~constant.undefined


def _values(words: Iterable[Word]) -> frozenset[int]:
    return frozenset(value for word in words for value in word.values())


def _never_assigned(register: Register) -> bool:
    """Such a register is wiring: nothing can change it."""
    kept = register.clock is None or register.data == Word.value(register.output, register.width)
    return kept and not register.overrides
