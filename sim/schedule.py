"""Order of evaluation: topological order, loop cuts, clock groups, and whether one round settles an update.

Worklists throughout: a netlist of any depth is scheduled without recursion.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from .netlist import Netlist, Word


@dataclass(frozen=True)
class Group:
    """What one clock edge moves: registers (indices into `netlist.registers`) and write ports (memory, port)."""

    clock: Word
    rising: bool
    registers: tuple[int, ...]
    writes: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Schedule:
    """How to evaluate a netlist.

    `order` holds the cells' indices so that each stands after the cells whose outputs it reads, but for the values in
    `cuts`: those close a combinational loop, and a reader that comes first sees the previous pass. `loops` holds the
    values of each loop. `settles_once` says that no register's output reaches a clock or an override and that there is
    no loop, so that one commit brings the netlist to rest.
    """

    order: tuple[int, ...]
    cuts: tuple[int, ...]
    loops: tuple[tuple[int, ...], ...]
    groups: tuple[Group, ...]
    settles_once: bool

    def __str__(self) -> str:
        lines = ["order " + " ".join(map(str, self.order)), "cuts " + " ".join(f"v{v}" for v in self.cuts)]
        for group in self.groups:
            writes = "".join(f" memory {m} port {p}" for m, p in group.writes)
            registers = " ".join(map(str, group.registers))
            lines.append(f"{'rise' if group.rising else 'fall'} {group.clock}: registers {registers}{writes}")
        lines.append(f"settles {'once' if self.settles_once else 'in rounds'}")
        return "\n".join(lines) + "\n"


def producers(netlist: Netlist) -> dict[int, int]:
    """Value number to the index of the cell that drives it."""
    return {cell.output: index for index, cell in enumerate(netlist.cells)}


def cone(
    netlist: Netlist, makers: dict[int, int], targets: Iterable[Word], known: Iterable[int] = ()
) -> set[int]:
    """Indices of the cells that the target words depend on, stopping at the `known` values."""
    stop = set(known)
    found: set[int] = set()
    work = [value for word in targets for value in word.values()]
    while work:
        value = work.pop()
        index = makers.get(value)
        if index is None or index in found or value in stop:
            continue
        found.add(index)
        work.extend(v for word in netlist.cells[index].operands for v in word.values())
    return found


def components(edges: Sequence[Sequence[int]]) -> list[list[int]]:
    """Strongly connected components (Tarjan 1972, with a stack of its own), each after those that it points to."""
    count = len(edges)
    index = [-1] * count
    low = [0] * count
    on_stack = bytearray(count)
    stack: list[int] = []
    found: list[list[int]] = []
    clock = 0
    for root in range(count):
        if index[root] >= 0:
            continue
        work = [(root, 0)]
        while work:
            node, at = work.pop()
            if at == 0:
                index[node] = low[node] = clock
                clock += 1
                stack.append(node)
                on_stack[node] = 1
            descend = False
            for position in range(at, len(edges[node])):
                other = edges[node][position]
                if index[other] < 0:
                    work.append((node, position))
                    work.append((other, 0))
                    descend = True
                    break
                if on_stack[other]:
                    low[node] = min(low[node], low[other])
            if descend:
                continue
            if low[node] == index[node]:
                component: list[int] = []
                while True:
                    member = stack.pop()
                    on_stack[member] = 0
                    component.append(member)
                    if member == node:
                        break
                found.append(component)
    return found


def schedule(netlist: Netlist) -> Schedule:
    """The schedule of a netlist; takes time linear in its size."""
    makers = producers(netlist)
    reads = [
        sorted({makers[v] for w in cell.operands for v in w.values() if v in makers})
        for cell in netlist.cells
    ]
    order: list[int] = []
    cuts: list[int] = []
    loops: list[tuple[int, ...]] = []
    for component in components(reads):
        if len(component) == 1 and component[0] not in reads[component[0]]:
            order.append(component[0])
            continue
        members, closing = _cut(component, reads)
        order.extend(members)
        cuts.extend(netlist.cells[index].output for index in closing)
        loops.append(tuple(netlist.cells[index].output for index in members))
    return Schedule(
        tuple(order), tuple(cuts), tuple(loops), _groups(netlist), not cuts and _settles_once(netlist, makers)
    )


def _cut(component: list[int], reads: list[list[int]]) -> tuple[list[int], list[int]]:
    """Order one loop's cells depth first; the cells that are read before they stand close it."""
    inside = set(component)
    done: dict[int, int] = {}
    entered: set[int] = set()
    order: list[int] = []
    for root in sorted(component):
        work = [(root, False)]
        while work:
            node, leave = work.pop()
            if leave:
                done[node] = len(order)
                order.append(node)
            elif node not in entered:
                entered.add(node)
                work.append((node, True))
                work.extend(
                    (other, False)
                    for other in reversed(reads[node])
                    if other in inside and other not in entered
                )
    closing = {
        other for node in order for other in reads[node] if other in inside and done[other] >= done[node]
    }
    return order, sorted(closing)


def _groups(netlist: Netlist) -> tuple[Group, ...]:
    registers: dict[tuple[Word, bool], list[int]] = {}
    writes: dict[tuple[Word, bool], list[tuple[int, int]]] = {}
    for index, register in enumerate(netlist.registers):
        if register.clock is not None:
            registers.setdefault((register.clock, register.rising), []).append(index)
    for number, memory in enumerate(netlist.memories):
        for position, port in enumerate(memory.writes):
            if port.clock is not None:
                writes.setdefault((port.clock, port.rising), []).append((number, position))
    keys = list(dict.fromkeys([*registers, *writes]))
    return tuple(Group(*key, tuple(registers.get(key, ())), tuple(writes.get(key, ()))) for key in keys)


def _settles_once(netlist: Netlist, makers: dict[int, int]) -> bool:
    levels = [group.clock for group in _groups(netlist)]
    levels += [word for r in netlist.registers for o in r.overrides for word in (o.mask, o.value)]
    for memory in netlist.memories:
        if any(port.clock is None for port in memory.writes):
            return False
    moving = {register.output for register in netlist.registers}
    if any(value in moving for word in levels for value in word.values()):
        return False
    for index in cone(netlist, makers, levels):
        cell = netlist.cells[index]
        if cell.kind == "read" or any(value in moving for word in cell.operands for value in word.values()):
            return False
    return True
