"""Free-running loops: which nets keep moving, where they stand in the source, and how fast they may run.

A loop that has no stable state never lets an update come to rest. The compiled code gives up after a bounded
number of rounds and leaves the state as it was; here the update is repeated by the plain meaning of the
cells, once around for each net and then once more, and what still moves is what runs free. Large loops are
swept less often: a sweep goes all the way round, and as many as there are closing values bring each change back.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

from .errors import ForelightError
from .frozen import frozen
from .netlist import Cell, Netlist, Slice
from .schedule import Graph, Schedule, components

#: Cells that are computed for one report, but where loops are closed in so many places that they need more.
_WORK = 200_000


@frozen
class Oscillation:
    """One free-running loop: its nets by name, their source lines, the gates of its shortest and longest way round.

    An AND, OR or XOR counts as one gate with an inverter of the same source line that alone reads it. `values` are the
    numbers of the nets' values in the netlist.
    """

    nets: tuple[str, ...]
    places: tuple[str, ...]
    shortest: int
    longest: int
    values: tuple[int, ...] = ()

    def frequency(self, fastest_gate: float, slowest_gate: float) -> tuple[float, float]:
        """Lowest and highest frequency in Hz for gate delays in seconds.

        A change goes twice around in one period, so n gates of delay d run at 1 / (2 n d) (ring oscillator,
        any text on digital circuits: common practice, no source).
        """
        return 1 / (2 * self.longest * slowest_gate), 1 / (2 * self.shortest * fastest_gate)

    def __str__(self) -> str:
        shown = ", ".join(self.nets[:8]) + (f" and {len(self.nets) - 8} more" if len(self.nets) > 8 else "")
        return f"{shown} ({', '.join(self.places[:4])})" if self.places else shown


class LoopError(ForelightError):
    """An update that never comes to rest; `loops` describes each free-running loop."""

    loops: tuple[Oscillation, ...] = ()


def oscillations(
    netlist: Netlist, plan: Schedule, known: dict[int, int], update: Callable[[int, dict[int, int]], int]
) -> tuple[Oscillation, ...]:
    """The loops with nets that do not come to rest from the values in `known` (value number to integer).

    `update(node, known)` gives what a node drives. `known` needs the inputs, the registers and the loops'
    cuts.
    """
    looped = {node for loop in plan.loops for node in loop}
    driven = {node: value for value, node in plan.graph.makers.items()}
    order = [node for node in plan.order if node in driven]
    for node in order:
        known[driven[node]] = update(node, known)
    around = [node for node in order if node in looped]
    closing = {plan.graph.makers[value] for value in plan.cuts}
    most = max((len(closing & set(loop)) for loop in plan.loops), default=0)
    sweeps = max(most, min(len(around), _WORK // max(2 * len(around), 1))) + 1
    moving: set[int] = set()
    for sweep in range(2 * sweeps):
        for node in around:
            value = update(node, known)
            if value != known[driven[node]] and sweep >= sweeps:
                moving.add(node)
            known[driven[node]] = value
    names = _names(netlist)
    rings = (ring for loop in plan.loops for ring in _rings(plan.graph, sorted(moving & set(loop))))
    return tuple(_described(netlist, plan.graph, names, ring, closing) for ring in rings)


def _rings(graph: Graph, nodes: list[int]) -> list[list[int]]:
    """The parts of a loop that feed themselves through moving nodes alone."""
    place = {node: index for index, node in enumerate(nodes)}
    edges = [[place[other] for other in graph.reads[node] if other in place] for node in nodes]
    groups = components(edges)
    return [
        [nodes[index] for index in group] for group in groups if len(group) > 1 or group[0] in edges[group[0]]
    ]


def _described(
    netlist: Netlist, graph: Graph, names: Mapping[int, str], ring: list[int], closing: set[int]
) -> Oscillation:
    driven = {node: value for value, node in graph.makers.items()}
    sources = [cell.src for cell in netlist.cells] + [register.src for register in netlist.registers]
    nets = tuple(names.get(driven[node], f"v{driven[node]}") for node in ring)
    places = tuple(dict.fromkeys(sources[node] for node in ring if sources[node]))
    values = tuple(driven[node] for node in ring)
    joined = _joined(netlist, graph, ring)
    edges = {
        node: {joined.get(other, other) for other in graph.reads[node]} for node in ring if node not in joined
    }
    starts = {joined.get(node, node) for node in closing & set(ring)}
    return Oscillation(nets, places, _shortest(edges, starts), len(edges), values)


def _joined(netlist: Netlist, graph: Graph, ring: list[int]) -> dict[int, int]:
    """Inverters that are one gate with what they invert, each with the node of that."""
    readers: dict[int, int] = {}
    for node in graph.nodes:
        for other in graph.reads[node]:
            readers[other] = readers.get(other, 0) + 1
    found, inside = {}, set(ring)
    for node in ring:
        gates = [other for other in graph.reads[node] if other in inside and other < len(netlist.cells)]
        if node < len(netlist.cells) and netlist.cells[node].kind == "$not" and len(gates) == 1:
            gate = netlist.cells[gates[0]]
            alone = readers[gates[0]] == 1
            if gate.kind in ("$and", "$or", "$xor") and alone and _line(gate) == _line(netlist.cells[node]):
                found[node] = gates[0]
    return found


def _line(cell: Cell) -> str:
    """File and line of a place like `file.v:3.16-3.24`."""
    file, _, place = cell.src.rpartition(":")
    return f"{file}:{place.partition('.')[0]}"


def _names(netlist: Netlist) -> dict[int, str]:
    """A name for each value: one that is just this value if there is one (the deepest), else a bit of a wider name."""
    whole: dict[int, str] = {}
    bits: dict[int, str] = {}
    for name, word in netlist.names.items():
        at = 0
        for part in word.parts:
            if isinstance(part, Slice):
                if len(word.parts) == 1 and part.width == netlist.widths[part.value]:
                    whole[part.value] = name
                bits[part.value] = f"{name}[{at}]"
            at += part.width
    return bits | whole


def _shortest(edges: Mapping[int, Collection[int]], starts: Collection[int]) -> int:
    """Gates on the shortest way round, by breadth-first search from each of some that every way round passes."""
    best = len(edges)
    for start in starts:
        distance = {start: 0}
        work = [start]
        for node in work:
            for other in edges[node]:
                if other == start:
                    best = min(best, distance[node] + 1)
                elif other in edges and other not in distance:
                    distance[other] = distance[node] + 1
                    work.append(other)
    return best
