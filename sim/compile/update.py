"""One update as LLVM text: settle, find clock edges, commit, and again until quiet.

The order is that of DEVELOPERS.md, Time 4: every register that saw an edge takes data settled with the new
inputs and before any register of this round commits. Where the schedule says that one round is enough the
text has no loop. The cells that only one clock needs stand behind a branch on its edge, so a clock that rests
costs a test.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from ..schedule import Group, Schedule
from . import memories
from .program import Here, Known, Live, Program
from .sweep import come_to_rest
from .text import Text
from .words import Scope

#: Rounds, and sweeps of loops, that any netlist may take in one update.
_ROUNDS = 10_000
#: A clock with no more cells than this of its own is committed by selects instead of behind a branch.
_FEW = 4


def rounds(plan: Schedule) -> int:
    """Rounds, and sweeps of loops, after which an update is given up as one that never comes to rest.

    A chain in which each register clocks the next takes a round a register, a loop about a sweep for each value that
    closes it.
    """
    return _ROUNDS + 2 * len(plan.groups) + 2 * len(plan.cuts)


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
    """Rounds until no clock has an edge; in each, every loop comes to rest before what reads it is computed."""
    top, again, rest = (text.name(stem) for stem in ("top", "again", "rest"))
    origin = text.here
    text.do(f"br label %{top}")
    text.block(top)
    count = text.phi("i32", "0", origin)
    widths = program.netlist.widths
    kinds = [f"i{register.width}" for register in program.netlist.registers]
    registers = [text.phi(kind, name, origin) for kind, name in zip(kinds, live.registers, strict=True)]
    kinds = [f"i{widths[value]}" for value in program.plan.kept]
    cuts = [text.phi(kind, name, origin) for kind, name in zip(kinds, live.cuts, strict=True)]
    clocks = [text.phi("i1", name, origin) for name in live.clocks]
    current = replace(live, registers=tuple(registers), cuts=tuple(cuts), clocks=tuple(clocks))

    here, most = Here(program, text, current, known), rounds(program.plan)
    for loop in program.plan.loops:
        come_to_rest(here, loop, most)
    here.emit(program.unclocked())
    after, event = _round(here, quiet)
    text.do(f"br i1 {event}, label %{again}, label %{rest}")
    text.block(again)
    text.arm(count, text.op(f"add i32 {count}, 1"), again)
    for phis, names in ((registers, after.registers), (cuts, after.cuts), (clocks, after.clocks)):
        for phi, name in zip(phis, names, strict=True):
            text.arm(phi, name, again)
    text.do(f"br i1 {text.op(f'icmp ugt i32 {count}, {most}')}, label %giveup, label %{top}")
    text.block(rest)
    here.live = after
    return here


def edge_of(text: Text, group: Group, before: str, now: str, quiet: str) -> str:
    """An i1 that says whether the group's clock has its edge (Time 4); `0` and `1` where that is certain."""
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
