"""One update as LLVM text: settle, find clock edges, commit, and again until quiet.

The order is that of DEVELOPERS.md, Time 4: every register that saw an edge takes data settled with the new
inputs and before any register of this round commits. Where the schedule says that one round is enough the
text has no loop. The cells that only one clock needs stand behind a branch on its edge, so a clock that rests
costs a test.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..netlist import Cell, Netlist, Word
from ..schedule import Group, Schedule
from . import cells, memories
from .layout import Layout
from .text import Text
from .words import Scope

#: Rounds after which an update is given up as one that never comes to rest.
ROUNDS = 10_000
#: A clock with no more cells than this of its own is committed by selects instead of behind a branch.
_FEW = 4


#: Values of which something is known: each with the word of constants and unknown bits that it is.
Known = Mapping[int, Word]


@dataclass(frozen=True)
class Live:
    """LLVM names of everything that an update carries on: inputs by port, the rest in the netlist's order."""

    inputs: dict[str, str]
    registers: tuple[str, ...]
    cuts: tuple[str, ...]
    clocks: tuple[str, ...]


class Program:
    """A netlist with all that is needed to write its text."""

    def __init__(self, netlist: Netlist, plan: Schedule, places: Layout) -> None:
        self.netlist, self.plan, self.layout = netlist, plan, places
        self.position = {node: at for at, node in enumerate(plan.order)}
        self._driven = {node: value for value, node in plan.graph.makers.items()}

    def drives(self, node: int) -> int:
        """The value that a node drives; a negative number of its own for a memory."""
        return self._driven.get(node, -1 - node)

    def needs(self, targets: Iterable[Word]) -> set[int]:
        return self.plan.graph.cone(targets, self.plan.cuts)

    def group_words(self, group: Group) -> list[Word]:
        """What a clock's edge reads."""
        words = [self.netlist.registers[index].data for index in group.registers]
        for number, position in group.writes:
            words += self.netlist.memories[number].writes[position].operands
        return words

    def unclocked(self) -> set[int]:
        """The nodes that write memories without a clock, with all that they need."""
        writers = self.plan.graph.unclocked
        return {*writers, *self.needs(word for node in writers for word in self.plan.graph.words(node))}


class Here:
    """A place in the text: what is live there and what has been computed from it."""

    def __init__(self, program: Program, text: Text, live: Live, known: Known | None = None) -> None:
        self.program, self.text, self.live = program, text, live
        self.scope = Scope(text, program.netlist.widths)
        for port, value in program.netlist.inputs.items():
            self._enter(value, live.inputs[port])
        for register, name in zip(program.netlist.registers, live.registers, strict=True):
            if not register.overrides:
                self._enter(register.output, name)
        for value, name in zip(program.plan.cuts, live.cuts, strict=True):
            self._enter(value, name)
        for value, word in (known or {}).items():
            self.scope.bind(value, word)

    def _enter(self, value: int, name: str, scope: Scope | None = None) -> None:
        """A value is known by its LLVM name, which may be a number."""
        scope = scope or self.scope
        if name.isdigit() and value >= 0:
            scope.bind(value, Word.const(int(name), self.program.netlist.widths[value]))
        else:
            scope.put(value, name)

    def emit(self, needed: Iterable[int], scope: Scope | None = None) -> None:
        """Write the nodes that are not known yet, in order."""
        scope = scope or self.scope
        for node in sorted(needed, key=self.program.position.__getitem__):
            value = self.program.drives(node)
            if scope.knows(value):
                continue
            if node < len(self.program.netlist.cells):
                scope.compute(self.program.netlist.cells[node], self._cell)
            else:
                self._enter(value, self.result(node, scope), scope)

    def words(self, words: Iterable[Word], scope: Scope | None = None) -> list[str]:
        """The LLVM names of words, with all that they need."""
        found = list(words)
        scope = scope or self.scope
        self.emit(self.program.needs(found), scope)
        return [scope.word(word) for word in found]

    def result(self, node: int, scope: Scope) -> str:
        """Write one node's text; the name of what it drives."""
        netlist, graph = self.program.netlist, self.program.plan.graph
        register, memory = graph.register(node), graph.memory(node)
        if register is not None:
            return self.forced(register, self.held(register, scope), scope)
        if memory is not None:
            rows = self.program.layout.memories[memory]
            for port in netlist.memories[memory].writes:
                if port.clock is None:
                    memories.store(scope, rows, memories.write(scope, netlist.memories[memory], rows, port))
            return "0"
        cell = netlist.cells[node]
        return self._cell(scope, cell, [scope.resolve(word) for word in cell.operands])

    def held(self, index: int, scope: Scope) -> str:
        """What a register with overrides holds, these aside."""
        return self.live.registers[index]

    def _cell(self, scope: Scope, cell: Cell, operands: Sequence[Word]) -> str:
        if cell.kind != "read":
            return cells.emit(scope, cell, operands)
        number = cell.int_param("memory")
        memory, rows = self.program.netlist.memories[number], self.program.layout.memories[number]
        return memories.read(scope, memory, rows, operands[0])

    def forced(self, index: int, name: str, scope: Scope) -> str:
        """A register's value under its overrides, the last of them strongest."""
        text, register = self.text, self.program.netlist.registers[index]
        kind = f"i{register.width}"
        for override in register.overrides:
            value = scope.word(override.value)
            bits = set(scope.resolve(override.mask).bits())
            if len(bits) == 1:
                chosen = scope.word(bits.pop())
                if chosen.isdigit():
                    name = value if chosen == "1" else name
                else:
                    name = text.op(f"select i1 {chosen}, {kind} {value}, {kind} {name}")
                continue
            mask = scope.word(override.mask)
            kept = text.op(f"and {kind} {name}, {text.op(f'xor {kind} {mask}, -1')}")
            name = text.op(f"or {kind} {kept}, {text.op(f'and {kind} {value}, {mask}')}")
        return name

    def shown(self) -> Live:
        """What is live here with every register at the value that it shows under its overrides."""
        outputs = (Word.value(r.output, r.width) for r in self.program.netlist.registers)
        return replace(self.live, registers=tuple(self.words(outputs)))


def update(program: Program, text: Text, live: Live, *, known: Known | None = None, quiet: str = "0") -> Here:
    """Write one whole update; `quiet` is an i1 that forbids edges. Returns the place where it has come to rest."""
    if program.plan.settles_once:
        here = Here(program, text, live, known)
        here.emit(program.unclocked())
        here = Here(program, text, _round(here, quiet)[0], known)
        here.emit(program.unclocked())
    else:
        here = _rounds(program, text, live, known, quiet)
    here.live = here.shown()
    return here


def _rounds(program: Program, text: Text, live: Live, known: Known | None, quiet: str) -> Here:
    """Rounds until no clock has an edge, each of sweeps until every loop is quiet."""
    top, stable, rest = (text.name(stem) for stem in ("top", "stable", "rest"))
    netlist, origin = program.netlist, text.here
    text.do(f"br label %{top}")
    text.block(top)
    count = text.phi("i32", "0", origin)
    kinds = [f"i{register.width}" for register in netlist.registers]
    registers = [text.phi(kind, name, origin) for kind, name in zip(kinds, live.registers, strict=True)]
    kinds = [f"i{netlist.widths[value]}" for value in program.plan.cuts]
    cuts = [text.phi(kind, name, origin) for kind, name in zip(kinds, live.cuts, strict=True)]
    clocks = [text.phi("i1", name, origin) for name in live.clocks]
    current = replace(live, registers=tuple(registers), cuts=tuple(cuts), clocks=tuple(clocks))
    next_count = text.op(f"add i32 {count}, 1")

    def again(label: str, after: Live) -> None:
        """The block that goes back to the top, or gives up."""
        text.block(label)
        over = text.op(f"icmp ugt i32 {count}, {ROUNDS}")
        text.do(f"br i1 {over}, label %giveup, label %{top}")
        text.arm(count, next_count, label)
        for phis, names in ((registers, after.registers), (cuts, after.cuts), (clocks, after.clocks)):
            for phi, name in zip(phis, names, strict=True):
                text.arm(phi, name, label)

    here = Here(program, text, current, known)
    here.emit(program.unclocked())
    if cuts:
        swept, changed = _sweep(here)
        sweeping = text.name("sweep")
        text.do(f"br i1 {changed}, label %{sweeping}, label %{stable}")
        again(sweeping, swept)
        text.block(stable)
    after, event = _round(here, quiet)
    ringing = text.name("again")
    text.do(f"br i1 {event}, label %{ringing}, label %{rest}")
    again(ringing, after)
    text.block(rest)
    here.live = after
    return here


def _sweep(here: Here) -> tuple[Live, str]:
    """One pass over the loops: what is live after it, and whether any value at a cut moved."""
    program, graph = here.program, here.program.plan.graph
    makers = [graph.makers[value] for value in program.plan.cuts]
    here.emit(program.needs(word for node in makers for word in graph.words(node)))
    moved = tuple(here.result(node, here.scope) for node in makers)
    changed = "0"
    for value, old, new in zip(program.plan.cuts, here.live.cuts, moved, strict=True):
        differs = here.text.op(f"icmp ne i{program.netlist.widths[value]} {old}, {new}")
        changed = here.text.op(f"or i1 {changed}, {differs}")
    shown = here.shown()
    registers = list(shown.registers)
    for node, new in zip(makers, moved, strict=True):
        index = graph.register(node)
        if index is not None:
            registers[index] = new
    return replace(shown, registers=tuple(registers), cuts=moved), changed


def edge_of(text: Text, group: Group, before: str, now: str, quiet: str) -> str:
    """An i1 that says whether the group's clock has its edge; `0` and `1` where that is certain."""
    if before == now or quiet == "1":
        return "0"
    low, high = (before, now) if group.rising else (now, before)
    if low in ("0", "1") and high in ("0", "1"):
        return "1" if (low, high) == ("0", "1") else "0"
    edge = text.op(f"and i1 {high}, {text.op(f'xor i1 {low}, 1')}")
    return edge if quiet == "0" else text.op(f"and i1 {edge}, {text.op(f'xor i1 {quiet}, 1')}")


def _round(here: Here, quiet: str) -> tuple[Live, str]:
    """Edges and commit of one round; what is live after it, and an i1 that says whether there was an edge."""
    program, text = here.program, here.text
    groups = program.plan.groups
    clocks = tuple(here.words(group.clock for group in groups))
    before = here.shown()
    edges = [
        edge_of(text, group, old, new, quiet)
        for group, old, new in zip(groups, before.clocks, clocks, strict=True)
    ]
    registers, writes = _commit(here, before.registers, edges)
    event = "0"
    for edge in edges:
        event = edge if event == "0" else event if edge == "0" else text.op(f"or i1 {event}, {edge}")
    for (number, _), waiting in sorted(writes.items()):
        memories.store(here.scope, program.layout.memories[number], waiting)
    return replace(before, registers=tuple(registers), clocks=clocks), event


def _commit(
    here: Here, before: Sequence[str], edges: Sequence[str]
) -> tuple[list[str], dict[tuple[int, int], memories.Write]]:
    """New values of the clocked registers, and the writes to store once every group has read."""
    program, text, scope = here.program, here.text, here.scope
    plan = program.plan
    registers = list(before)
    writes: dict[tuple[int, int], memories.Write] = {}
    live = [(group, edge) for group, edge in zip(plan.groups, edges, strict=True) if edge != "0"]
    cones = [program.needs(program.group_words(group)) for group, _ in live]
    shared = Counter(node for needed in cones for node in needed)
    here.emit(node for node, count in shared.items() if count > 1)
    for (group, edge), needed in zip(live, cones, strict=True):
        own = [node for node in needed if not scope.knows(program.drives(node))]
        if edge == "1" or (len(own) <= _FEW and not group.writes):
            here.emit(own)
            for index in group.registers:
                register = program.netlist.registers[index]
                data, kind = here.forced(index, scope.word(register.data), scope), f"i{register.width}"
                old = registers[index]
                registers[index] = (
                    data if edge == "1" else text.op(f"select i1 {edge}, {kind} {data}, {kind} {old}")
                )
            writes |= waiting_writes(program, scope, group)
            continue
        taken, after, origin = text.name("edge"), text.name("after"), text.here
        text.do(f"br i1 {edge}, label %{taken}, label %{after}")
        text.block(taken)
        inside = scope.child()
        here.emit(own, inside)
        taking = {
            index: here.forced(index, inside.word(program.netlist.registers[index].data), inside)
            for index in group.registers
        }
        waiting = waiting_writes(program, inside, group)
        last = text.here
        text.do(f"br label %{after}")
        text.block(after)
        for index, name in taking.items():
            phi = text.phi(f"i{program.netlist.registers[index].width}", registers[index], origin)
            text.arm(phi, name, last)
            registers[index] = phi
        for key, write in waiting.items():
            writes[key] = _joined(program, text, key[0], write, origin, last)
    return registers, writes


def waiting_writes(program: Program, scope: Scope, group: Group) -> dict[tuple[int, int], memories.Write]:
    found = {}
    for number, position in group.writes:
        memory = program.netlist.memories[number]
        port = memory.writes[position]
        found[number, position] = memories.write(scope, memory, program.layout.memories[number], port)
    return found


def _joined(
    program: Program, text: Text, number: int, write: memories.Write, origin: str, last: str
) -> memories.Write:
    """A write made behind a branch, as seen after it: to the spill row if the branch was not taken."""
    width = program.netlist.memories[number].width
    index = text.phi("i64", str(program.layout.memories[number].spill), origin)
    text.arm(index, write.index, last)
    data = text.phi(f"i{width}", "0", origin)
    text.arm(data, write.data, last)
    mask = None
    if write.mask is not None:
        mask = text.phi(f"i{width}", "0", origin)
        text.arm(mask, write.mask, last)
    return memories.Write(index, data, mask)
