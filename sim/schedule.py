"""Order of evaluation: topological order, loop cuts, clock groups, and whether one round settles an update.

What settles without a clock is a node, by number: first the cells, then the registers (those with overrides:
their output follows the overrides), then the memories (those written without a clock). Worklists throughout:
a netlist of any depth is scheduled without recursion.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from functools import cached_property

from .errors import UnsupportedError
from .frozen import frozen
from .netlist import Netlist, Word


@frozen
class Group:
    """What one clock edge moves: registers (indices into `netlist.registers`) and write ports (memory, port)."""

    clock: Word
    rising: bool
    registers: tuple[int, ...]
    writes: tuple[tuple[int, int], ...]


class Graph:
    """Which node drives each value, and which nodes each node reads."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        cells, registers = len(netlist.cells), len(netlist.registers)
        self._registers, self._memories = cells, cells + registers
        self.makers = {cell.output: index for index, cell in enumerate(netlist.cells)}
        for index, register in enumerate(netlist.registers):
            if register.overrides:
                self.makers[register.output] = self._registers + index
        self.nodes = sorted(self.makers.values())
        self.unclocked = [
            self._memories + index
            for index, memory in enumerate(netlist.memories)
            if any(port.clock is None for port in memory.writes)
        ]
        self.nodes += self.unclocked

    def register(self, node: int) -> int | None:
        """The index of the register that this node is, or None."""
        return node - self._registers if self._registers <= node < self._memories else None

    def memory(self, node: int) -> int | None:
        """The index of the memory whose unclocked writes this node is, or None."""
        return node - self._memories if node >= self._memories else None

    def words(self, node: int) -> tuple[Word, ...]:
        """What a node reads."""
        if node < self._registers:
            return self.netlist.cells[node].operands
        if node < self._memories:
            return self.netlist.registers[node - self._registers].forcing
        ports = [p for p in self.netlist.memories[node - self._memories].writes if p.clock is None]
        return tuple(word for port in ports for word in port.operands)

    @cached_property
    def reads(self) -> dict[int, list[int]]:
        """The nodes that each node reads, without repeats."""
        unclocked = set(self.unclocked)
        found = {}
        for node in self.nodes:
            sources = {self.makers[v] for word in self.words(node) for v in word.values() if v in self.makers}
            if node < self._registers and self.netlist.cells[node].kind == "read":
                written = self._memories + self.netlist.cells[node].int_param("memory")
                sources |= unclocked & {written}
            found[node] = sorted(sources)
        return found

    def cone(self, targets: Iterable[Word], stop: Container[int] = ()) -> set[int]:
        """The nodes that the target words depend on, short of those in `stop`."""
        work = [self.makers[v] for word in targets for v in word.values() if v in self.makers]
        found: set[int] = set()
        while work:
            node = work.pop()
            if node not in found and node not in stop:
                found.add(node)
                work.extend(self.reads[node])
        return found


@frozen
class Schedule:
    """How to evaluate a netlist.

    `order` holds the nodes so that each stands after those that it reads, but for the values in `cuts`: those
    close a combinational loop, and a reader that comes first sees the previous pass. `loops` holds the nodes
    of each loop in order. A loop through latches is closed by these, which stand last in it: they hold what the cells
    answer to. Loops that its cells make among themselves are in `inner`.
    `settles_once` says that no state reaches a clock and that there is no loop, so that one commit brings the
    netlist to rest.
    """

    graph: Graph
    order: tuple[int, ...]
    cuts: tuple[int, ...]
    loops: tuple[tuple[int, ...], ...]
    inner: tuple[tuple[int, ...], ...]
    groups: tuple[Group, ...]
    settles_once: bool

    @cached_property
    def kept(self) -> tuple[int, ...]:
        """The cuts that no register holds: a simulation keeps them beside its registers."""
        held = {register.output for register in self.graph.netlist.registers}
        return tuple(value for value in self.cuts if value not in held)

    def __str__(self) -> str:
        lines = ["order " + " ".join(map(str, self.order)), "cuts " + " ".join(f"v{v}" for v in self.cuts)]
        for group in self.groups:
            writes = "".join(f" memory {m} port {p}" for m, p in group.writes)
            registers = " ".join(map(str, group.registers))
            edge = "rise" if group.rising else "fall"
            lines.append(f"{edge} {group.clock}: registers {registers}{writes}")
        lines.append(f"settles {'once' if self.settles_once else 'in rounds'}")
        return "\n".join(lines) + "\n"


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
            if index[node] < 0:
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
    graph = Graph(netlist)
    place = {node: index for index, node in enumerate(graph.nodes)}
    reads = [[place[other] for other in graph.reads[node]] for node in graph.nodes]
    order: list[int] = []
    cuts: list[int] = []
    loops: list[tuple[int, ...]] = []
    inner: list[tuple[int, ...]] = []
    held = {index for node, index in place.items() if graph.register(node) is not None}
    for component in components(reads):
        if len(component) == 1 and component[0] not in reads[component[0]]:
            order.append(graph.nodes[component[0]])
            continue
        members, closing, rings = _opened(component, reads, held)
        inner += (tuple(graph.nodes[index] for index in ring) for ring in rings)
        nodes = [graph.nodes[index] for index in members]
        order.extend(nodes)
        loops.append(tuple(nodes))
        driven = {node: value for value, node in graph.makers.items()}
        for index in closing:
            if graph.nodes[index] not in driven:
                number = graph.memory(graph.nodes[index])
                assert number is not None
                raise UnsupportedError(
                    f"memory {netlist.memories[number].name} is written without a clock from what is read of it",
                    place=netlist.memories[number].src,
                    remedy="give the write a clock",
                )
            cuts.append(driven[graph.nodes[index]])
    groups = _groups(netlist)
    once = not cuts and _settles_once(graph, groups)
    return Schedule(graph, tuple(order), tuple(cuts), tuple(loops), tuple(inner), groups, once)


def _opened(
    component: list[int], reads: list[list[int]], held: set[int]
) -> tuple[list[int], list[int], list[list[int]]]:
    """Order one loop, what is `held` last; with that which is read before it stands, and loops of the rest."""
    free = sorted(set(component) - held)
    order, rings = [], []
    if len(free) < len(component):
        place = {node: index for index, node in enumerate(free)}
        edges = [[place[other] for other in reads[node] if other in place] for node in free]
        for part in components(edges):
            members = _depth_first([free[index] for index in part], reads)
            order += members
            if len(part) > 1 or part[0] in edges[part[0]]:
                rings.append(members)
        order += sorted(held & set(component))
    else:
        order = _depth_first(component, reads)
    done = {node: index for index, node in enumerate(order)}
    closing = {
        other for node in order for other in reads[node] if other in done and done[other] >= done[node]
    }
    return order, sorted(closing), rings


def _depth_first(component: list[int], reads: list[list[int]]) -> list[int]:
    """Each node after as many of those that it reads as that way of walking allows."""
    inside = set(component)
    entered: set[int] = set()
    order: list[int] = []
    for root in sorted(component):
        work = [(root, False)]
        while work:
            node, leave = work.pop()
            if leave:
                order.append(node)
            elif node not in entered:
                entered.add(node)
                work.append((node, True))
                work.extend(
                    (other, False)
                    for other in reversed(reads[node])
                    if other in inside and other not in entered
                )
    return order


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


def _settles_once(graph: Graph, groups: Sequence[Group]) -> bool:
    """Whether no state reaches a clock."""
    clocks = [group.clock for group in groups]
    nodes = graph.cone(clocks)
    state = {register.output for register in graph.netlist.registers}
    reached = {value for word in clocks for value in word.values()}
    reached.update(value for node in nodes for word in graph.words(node) for value in word.values())
    reads = any(
        node < len(graph.netlist.cells) and graph.netlist.cells[node].kind == "read" for node in nodes
    )
    return not reads and not reached & state
