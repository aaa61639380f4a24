"""One update as LLVM text: settle, find clock edges, commit, and again until quiet.

The order is that of DEVELOPERS.md, Time 4: every register that saw an edge takes data settled with the new inputs and
before any register of this round commits. Where the schedule says that one round is enough the text has no loop. The
cells that only one clock needs stand behind a branch on its edge, so a clock that rests costs a test.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ..netlist import Netlist, Word
from ..schedule import Group, Schedule, cone, producers
from . import cells, memories
from .layout import Layout
from .text import Text
from .words import Scope

#: Rounds after which an update is given up as one that never comes to rest.
ROUNDS = 10_000
#: A clock with no more cells than this of its own is committed by selects instead of behind a branch.
_FEW = 4


@dataclass(frozen=True)
class Live:
    """LLVM names of everything that an update carries on: inputs by port, the rest in the netlist's order."""

    inputs: dict[str, str]
    registers: tuple[str, ...]
    cuts: tuple[str, ...]
    clocks: tuple[str, ...]


@dataclass(frozen=True)
class Program:
    """A netlist with all that is needed to write its text."""

    netlist: Netlist
    plan: Schedule
    layout: Layout
    makers: dict[int, int]
    position: dict[int, int]  # cell index -> place in the order

    @staticmethod
    def of(netlist: Netlist, plan: Schedule, places: Layout) -> Program:
        return Program(
            netlist, plan, places, producers(netlist), {index: at for at, index in enumerate(plan.order)}
        )

    def scope(self, text: Text, live: Live, known: dict[Word, str] | None = None) -> Scope:
        """A scope in which inputs, registers and loop cuts are known, and words in `known` besides."""
        scope = Scope(text, self.netlist.widths)
        for port, value in self.netlist.inputs.items():
            scope.set(value, live.inputs[port])
        for register, name in zip(self.netlist.registers, live.registers, strict=True):
            scope.set(register.output, name)
        for value, name in zip(self.plan.cuts, live.cuts, strict=True):
            scope.set(value, name)
        for word, name in (known or {}).items():
            scope.preset(word, name)
        return scope

    def needs(self, targets: Iterable[Word]) -> set[int]:
        return cone(self.netlist, self.makers, targets, self.plan.cuts)

    def emit(self, scope: Scope, needed: Iterable[int]) -> None:
        """Write the cells that the scope does not know yet, in order."""
        for index in sorted(needed, key=self.position.__getitem__):
            cell = self.netlist.cells[index]
            if not scope.knows(cell.output):
                scope.set(cell.output, self.result(scope, index))

    def result(self, scope: Scope, index: int) -> str:
        cell = self.netlist.cells[index]
        if cell.kind != "read":
            return cells.emit(cell, scope)
        number = cell.int_param("memory")
        return memories.read(scope, self.netlist.memories[number], self.layout.memories[number], cell)

    def group_words(self, group: Group) -> list[Word]:
        """What a clock's edge reads."""
        words = [self.netlist.registers[index].data for index in group.registers]
        for number, position in group.writes:
            port = self.netlist.memories[number].writes[position]
            words += [port.address, port.data, port.enable]
        return words


def settle_and_commit(
    program: Program, text: Text, live: Live, *, known: dict[Word, str] | None = None, quiet: str = "0"
) -> Live:
    """Write one whole update; `quiet` is an i1 that forbids edges. Returns what is live after it."""
    if program.plan.settles_once:
        return _round(program, text, live, known, quiet)[0]
    top, stable, again, rest = (text.name(stem) for stem in ("top", "stable", "again", "rest"))
    origin = text.here
    text.do(f"br label %{top}")
    text.block(top)
    netlist = program.netlist
    count = text.phi("i32", "0", origin)
    registers = [
        text.phi(f"i{r.width}", n, origin) for r, n in zip(netlist.registers, live.registers, strict=True)
    ]
    cuts = [
        text.phi(f"i{netlist.widths[v]}", n, origin)
        for v, n in zip(program.plan.cuts, live.cuts, strict=True)
    ]
    clocks = [text.phi("i1", name, origin) for name in live.clocks]
    current = replace(live, registers=tuple(registers), cuts=tuple(cuts), clocks=tuple(clocks))
    next_count = text.op(f"add i32 {count}, 1")

    def back(after: Live, origin: str) -> None:
        text.arm(count, next_count, origin)
        for phis, names in ((registers, after.registers), (cuts, after.cuts), (clocks, after.clocks)):
            for phi, name in zip(phis, names, strict=True):
                text.arm(phi, name, origin)

    if cuts:
        scope = program.scope(text, current, known)
        moved, changed = _loops(program, scope, current)
        looping = text.here
        text.do(f"br i1 {changed}, label %{again}c, label %{stable}")
        text.block(f"{again}c")
        over = text.op(f"icmp ugt i32 {count}, {ROUNDS}")
        text.do(f"br i1 {over}, label %giveup, label %{top}")
        back(replace(current, cuts=moved), f"{again}c")
        del looping
        text.block(stable)
    after, event = _round(program, text, current, known, quiet)
    text.do(f"br i1 {event}, label %{again}, label %{rest}")
    text.block(again)
    over = text.op(f"icmp ugt i32 {count}, {ROUNDS}")
    text.do(f"br i1 {over}, label %giveup, label %{top}")
    back(after, again)
    text.block(rest)
    return after


def _loops(program: Program, scope: Scope, live: Live) -> tuple[tuple[str, ...], str]:
    """One pass over the loops: the new values at their cuts, and whether any of them moved."""
    makers = [program.makers[value] for value in program.plan.cuts]
    operands = [word for index in makers for word in program.netlist.cells[index].operands]
    program.emit(scope, program.needs(operands))
    moved = tuple(program.result(scope, index) for index in makers)
    changed = "0"
    for value, old, new in zip(program.plan.cuts, live.cuts, moved, strict=True):
        differs = scope.text.op(f"icmp ne i{program.netlist.widths[value]} {old}, {new}")
        changed = scope.text.op(f"or i1 {changed}, {differs}")
    return moved, changed


def _edge(text: Text, group: Group, before: str, now: str, quiet: str) -> str:
    """An i1 that says whether the group's clock has its edge; `0` and `1` where that is certain."""
    if before == now or quiet == "1":
        return "0"
    low, high = (before, now) if group.rising else (now, before)
    if low in ("0", "1") and high in ("0", "1"):
        return "1" if (low, high) == ("0", "1") else "0"
    edge = text.op(f"and i1 {high}, {text.op(f'xor i1 {low}, 1')}")
    return edge if quiet == "0" else text.op(f"and i1 {edge}, {text.op(f'xor i1 {quiet}, 1')}")


def _round(
    program: Program, text: Text, live: Live, known: dict[Word, str] | None, quiet: str
) -> tuple[Live, str]:
    """Edges and commit of one round; returns what is live after it and an i1 that says whether anything moved."""
    netlist, plan = program.netlist, program.plan
    scope = program.scope(text, live, known)
    program.emit(scope, program.needs(group.clock for group in plan.groups))
    clocks = tuple(scope.word(group.clock) for group in plan.groups)
    edges = [
        _edge(text, g, old, new, quiet) for g, old, new in zip(plan.groups, live.clocks, clocks, strict=True)
    ]
    forced = [index for index, register in enumerate(netlist.registers) if register.overrides]
    program.emit(
        scope,
        program.needs(w for i in forced for o in netlist.registers[i].overrides for w in (o.mask, o.value)),
    )
    always = [
        (m, p)
        for m, memory in enumerate(netlist.memories)
        for p, w in enumerate(memory.writes)
        if w.clock is None
    ]
    ports = (netlist.memories[m].writes[p] for m, p in always)
    program.emit(scope, program.needs(w for port in ports for w in (port.address, port.data, port.enable)))

    registers, writes = _commit(program, scope, live.registers, edges)
    event = "0"
    for edge in edges:
        event = edge if event == "0" else event if edge == "0" else text.op(f"or i1 {event}, {edge}")
    for index in forced:
        registers[index] = _forced(program, scope, index, registers[index])
        if not plan.settles_once:
            width = netlist.registers[index].width
            differs = text.op(f"icmp ne i{width} {registers[index]}, {live.registers[index]}")
            event = text.op(f"or i1 {event}, {differs}")
    for number, position in always:
        memory, rows = netlist.memories[number], program.layout.memories[number]
        waiting = memories.write(scope, memory, rows, memory.writes[position])
        old = memories.load(scope, rows, waiting.index)
        memories.store(scope, rows, waiting)
        new = memories.load(scope, rows, waiting.index)
        real = text.op(f"icmp ne i64 {waiting.index}, {rows.spill}")
        differs = text.op(f"and i1 {real}, {text.op(f'icmp ne i{memory.width} {old}, {new}')}")
        event = text.op(f"or i1 {event}, {differs}")
    for (number, _), waiting in sorted(writes.items()):
        memories.store(scope, program.layout.memories[number], waiting)
    return replace(live, registers=tuple(registers), clocks=clocks), event


def _commit(
    program: Program, scope: Scope, before: Sequence[str], edges: Sequence[str]
) -> tuple[list[str], dict[tuple[int, int], memories.Write]]:
    """New values of the clocked registers, and the writes to store once every group has read."""
    text, plan = scope.text, program.plan
    registers = list(before)
    writes: dict[tuple[int, int], memories.Write] = {}
    live = [(group, edge) for group, edge in zip(plan.groups, edges, strict=True) if edge != "0"]
    cones = [program.needs(program.group_words(group)) for group, _ in live]
    shared = Counter(index for needed in cones for index in needed)
    program.emit(scope, (index for index, count in shared.items() if count > 1))
    for (group, edge), needed in zip(live, cones, strict=True):
        own = [index for index in needed if not scope.knows(program.netlist.cells[index].output)]
        if edge == "1" or (len(own) <= _FEW and not group.writes):
            program.emit(scope, own)
            for index in group.registers:
                register = program.netlist.registers[index]
                data, kind = scope.word(register.data), f"i{register.width}"
                old = registers[index]
                registers[index] = (
                    data if edge == "1" else text.op(f"select i1 {edge}, {kind} {data}, {kind} {old}")
                )
            writes |= _waiting(program, scope, group)
            continue
        taken, after, origin = text.name("edge"), text.name("after"), text.here
        text.do(f"br i1 {edge}, label %{taken}, label %{after}")
        text.block(taken)
        inside = scope.child()
        program.emit(inside, own)
        taking = {index: inside.word(program.netlist.registers[index].data) for index in group.registers}
        waiting = _waiting(program, inside, group)
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


def _waiting(program: Program, scope: Scope, group: Group) -> dict[tuple[int, int], memories.Write]:
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


def _forced(program: Program, scope: Scope, index: int, name: str) -> str:
    """A register's value under its overrides, the last of them strongest."""
    text, register = scope.text, program.netlist.registers[index]
    kind = f"i{register.width}"
    for override in register.overrides:
        value = scope.word(override.value)
        bits = set(override.mask.bits())
        if len(bits) == 1:
            name = text.op(f"select i1 {scope.word(bits.pop())}, {kind} {value}, {kind} {name}")
            continue
        mask = scope.word(override.mask)
        kept = text.op(f"and {kind} {name}, {text.op(f'xor {kind} {mask}, -1')}")
        name = text.op(f"or {kind} {kept}, {text.op(f'and {kind} {value}, {mask}')}")
    return name
