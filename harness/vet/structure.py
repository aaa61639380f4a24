"""What the netlist of a wrapped design shows without running it: lines, latches, clocks, loops."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES, Datasheet
from forelight.sim.netlist import Netlist, Slice, Word
from forelight.sim.schedule import Graph, components

from ..chip.netlist import fights_in
from ..chip.routing import restart_input, step_input
from .finding import Finding

#: A bit of a value: its number, and which of its bits.
Bit = tuple[int, int]
#: Names in one sentence.
MOST_NAMES = 4
#: Cells that hand on one signal, inverted or not.
_WIRES = frozenset({"$not", "$pos", "$buf", "$logic_not"})


def structure(datasheet: Datasheet, netlist: Netlist) -> list[Finding]:
    """All findings of this file, for the netlist that `wrapper_netlist` makes."""
    return [
        *_inputs(datasheet, netlist),
        *_outputs(datasheet, netlist),
        *_latches(netlist),
        *_clocks(netlist),
        *_loops(netlist),
        *(Finding("source", _loud(said)) for said in netlist.warnings if "Latch inferred" not in said),
    ]


def _loud(said: str) -> str:
    """A warning of the source; drivers that fight take current, as a loop that runs free does."""
    return f"Warning: {said}" if fights_in([said]) else said


def _bits(word: Word) -> Iterator[Bit]:
    for part in word.parts:
        if isinstance(part, Slice):
            yield from ((part.value, part.low + bit) for bit in range(part.width))


def _live(netlist: Netlist) -> tuple[set[int], list[Word]]:
    """The values that the outputs depend on, and every word that is read on the way to them."""
    cells = {cell.output: cell for cell in netlist.cells}
    registers = {register.output: register for register in netlist.registers}
    words = list(netlist.outputs.values())
    live: set[int] = set()
    done: set[int] = set()  # memories
    waiting = [value for word in words for value in word.values()]
    while waiting:
        value = waiting.pop()
        if value in live:
            continue
        live.add(value)
        read: list[Word] = []
        if value in cells:
            cell = cells[value]
            read += cell.operands
            number = cell.int_param("memory") if cell.kind == "read" else -1
            if number >= 0 and number not in done:
                done.add(number)
                for port in netlist.memories[number].writes:
                    read += port.words
        elif value in registers:
            read += registers[value].words
        words += read
        waiting += (v for word in read for v in word.values())
    return live, words


def _inputs(datasheet: Datasheet, netlist: Netlist) -> Iterator[Finding]:
    """Lines that are described and do nothing, and lines that do something and are not described."""
    _, words = _live(netlist)
    port = netlist.inputs["inputs"]
    read = {bit for word in words for value, bit in _bits(word) if value == port}
    step, restart = step_input(datasheet), restart_input(datasheet)
    for role, index in (("step", step), ("restart", restart)):
        if index is not None and index not in read:
            yield Finding(
                f"{role} line",
                f"nothing in the design depends on the {role} line: use it, or leave [{role}] out",
                must=True,
            )
    for bit, line in enumerate(INPUT_LINES):
        if bit in (step, restart):
            continue
        if bit in read and line not in datasheet.lines:
            yield Finding(
                line, f"the design uses {line}: say what it means in [lines] of the datasheet", must=True
            )
        elif bit not in read and line in datasheet.lines:
            means = datasheet.lines[line].means
            yield Finding(line, f"unused input: nothing in the design depends on {line} ({means})", must=True)


def _outputs(datasheet: Datasheet, netlist: Netlist) -> Iterator[Finding]:
    for line, bit in zip(OUTPUT_LINES, netlist.outputs["outputs"].bits(), strict=True):
        constant = bit.as_const()
        if constant is None:
            continue
        if constant.undefined:
            yield Finding(
                line, f"output never driven: nothing gives {line} a level; assign it, 0 if unused", must=True
            )
        elif line in datasheet.lines:
            means = datasheet.lines[line].means
            yield Finding(line, f"{line} ({means}) is always {constant.bits}", must=True)


def _latches(netlist: Netlist) -> Iterator[Finding]:
    for register in netlist.registers:
        if register.clock is None:
            yield Finding(
                "latch",
                f"latch inferred for {_name(register.name)}: if none is meant, give it a value in every case",
                register.src,
            )


def _clocks(netlist: Netlist) -> Iterator[Finding]:
    """Clocks that come from logic, and clocks that are data as well."""
    cells = {cell.output: cell for cell in netlist.cells}
    sources: dict[Bit, str] = {}  # where a clock starts -> who is clocked by it
    glitching: dict[int, tuple[str, str]] = {}
    wires: set[int] = set()  # inverters on the way to a clock
    for clock, who in _clocked(netlist):
        word = clock
        while word.parts and isinstance(word.parts[0], Slice):
            value, bit = word.parts[0].value, word.parts[0].low
            cell = cells.get(value)
            if cell is None:
                sources.setdefault((value, bit), who)
                break
            wires.add(value)
            if cell.kind in _WIRES and cell.operands[0].width == 1:
                word = cell.operands[0]
                continue
            if sum(len(set(_bits(operand))) for operand in cell.operands) > 1:
                glitching.setdefault(value, (who, cell.src))
            break
    for who, place in glitching.values():
        yield Finding(
            "clock",
            f"a clock that can glitch: logic of several signals clocks {who}; use an enable instead",
            place,
        )
    data = {bit for word in _data(netlist, wires) for bit in _bits(word)}
    shared = [who for source, who in sources.items() if source in data]
    if shared:
        who = ", ".join(shared[:MOST_NAMES]) + (" and more" if len(shared) > MOST_NAMES else "")
        yield Finding("clock", f"clock used as data: what clocks {who} is also read by logic or shown")


def _clocked(netlist: Netlist) -> Iterator[tuple[Word, str]]:
    for register in netlist.registers:
        if register.clock is not None:
            yield register.clock, _name(register.name)
    for memory in netlist.memories:
        for port in memory.writes:
            if port.clock is not None:
                yield port.clock, _name(memory.name)


def _data(netlist: Netlist, wires: Iterable[int]) -> Iterator[Word]:
    """Every word that is read otherwise than as a clock."""
    aside = set(wires)
    live, _ = _live(netlist)
    yield from netlist.outputs.values()
    for cell in netlist.cells:
        if cell.output in live and cell.output not in aside:
            yield from cell.operands
    for register in netlist.registers:
        if register.output in live:
            yield register.data
            yield from register.forcing
    for memory in netlist.memories:
        for port in memory.writes:
            yield from port.operands


def _loops(netlist: Netlist) -> Iterator[Finding]:
    graph = Graph(netlist)
    numbers = {node: index for index, node in enumerate(graph.nodes)}
    edges = [[numbers[other] for other in graph.reads[node] if other in numbers] for node in graph.nodes]
    for group in components(edges):
        nodes = [graph.nodes[index] for index in group]
        if len(nodes) > 1 or nodes[0] in graph.reads[nodes[0]]:
            cells = [netlist.cells[node] for node in nodes if node < len(netlist.cells)]
            place = min((cell.src for cell in cells if cell.src), default="")
            yield Finding(
                "loop", f"logic feeds back into itself through {len(nodes)} cells without a clock", place
            )


def _name(name: str) -> str:
    """A name without the levels that the wrapper adds."""
    return name.removeprefix("wrapper.").removeprefix("design.")
