"""Brings one combinational loop to rest, before anything that reads it is computed.

A loop is swept in the order of the schedule until a sweep changes none of the values that close it. The values of
earlier sweeps are passing: no latch, memory or clock outside the loop sees them.

Gates that always answer in one order may chase each other past a stable state for ever. So a loop that has not come
to rest after a while goes on by chance: in each sweep some of the bits that close it stay as they are, and now and
then it starts again from where it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from ..netlist import Word
from .program import Here, Live

#: Sweeps in order before chance is called in, and as many again as twice the loop has nodes.
_IN_ORDER = 64
#: Sweeps by chance before the loop starts again from where it was; a power of two.
_ATTEMPT = 64
#: An odd number with about as many ones as zeros, all over: 2**64 over the golden ratio (Knuth, TAOCP 3, 6.4).
_MIX = 0x9E3779B97F4A7C15


def come_to_rest(here: Here, loop: Sequence[int], count: str, most: int) -> str:
    """Write the sweeps of one loop, with `count` (an i32) led on; beyond `most` of them the text goes to `giveup`.

    `here` is afterwards the place where the loop is at rest.
    """
    program, text, graph = here.program, here.text, here.program.plan.graph
    nodes = sorted(loop, key=program.position.__getitem__)
    here.emit(program.needs(word for node in nodes for word in graph.words(node)) - set(nodes))

    origin, top, moving, rest = text.here, text.name("sweep"), text.name("moving"), text.name("rest")
    text.do(f"br label %{top}")
    text.block(top)
    swept = text.phi("i32", count, origin)
    start = _passed_on(here, nodes)
    before = {
        value: text.phi(f"i{program.netlist.widths[value]}", name, origin) for value, name in start.items()
    }
    here.live = _with(here, before)
    changed = _sweep(here, nodes, before)
    after = {value: here.scope.word(Word.value(value, program.netlist.widths[value])) for value in before}
    following = text.op(f"add i32 {swept}, 1")
    text.do(f"br i1 {changed}, label %{moving}, label %{rest}")

    def again(label: str, names: Mapping[str, str]) -> None:
        text.arm(swept, following, label)
        for phi, name in names.items():
            text.arm(phi, name, label)

    text.block(moving)
    chance, patience = text.name("chance"), _IN_ORDER + 2 * len(nodes)
    so_far = text.op(f"sub i32 {swept}, {count}")
    late = text.op(f"icmp ugt i32 {so_far}, {patience}")
    text.do(f"br i1 {late}, label %{chance}, label %{top}")
    again(moving, {before[value]: after[value] for value in before})
    text.block(chance)
    anew = text.op(f"icmp eq i32 {text.op(f'and i32 {swept}, {_ATTEMPT - 1}')}, 0")
    chosen = {}
    for value, phi in before.items():
        name, kind = _by_chance(here, value, swept, phi, after[value]), f"i{program.netlist.widths[value]}"
        chosen[phi] = text.select(anew, kind, start[value], name)
    again(chance, chosen)
    text.do(f"br i1 {text.op(f'icmp ugt i32 {swept}, {most}')}, label %giveup, label %{top}")
    text.block(rest)
    here.live = _with(here, after)
    return following


def _sweep(here: Here, nodes: Sequence[int], before: Mapping[int, str]) -> str:
    """One sweep in order; an i1 that says whether it changed a value that closes the loop."""
    program, text, scope = here.program, here.text, here.scope
    for value in before.keys() & program.closing:
        scope.renew(value, before[value])
    changed = "0"
    for node in nodes:
        value = program.drives(node)
        if value in program.closing:
            name = here.result(node, scope)
            differs = text.op(f"icmp ne i{program.netlist.widths[value]} {before[value]}, {name}")
            changed = text.op(f"or i1 {changed}, {differs}")
            scope.renew(value, name)
        else:
            here.emit([node])
    return changed


def _by_chance(here: Here, value: int, count: str, old: str, new: str) -> str:
    """Of a value that closes the loop, the new one in about half of the bits; the count says in which."""
    if value not in here.program.closing:
        return new
    width, text, scope = here.program.netlist.widths[value], here.text, here.scope
    mixed = text.op(f"mul i64 {scope.resize(count, 32, 64)}, {_MIX}")
    mixed = text.op(f"xor i64 {mixed}, {(value + 1) * _MIX % 2**64}")
    mixed = text.op(f"xor i64 {mixed}, {text.op(f'lshr i64 {mixed}, 29')}")
    mixed = text.op(f"lshr i64 {text.op(f'mul i64 {mixed}, {_MIX}')}, 32")
    bits = scope.resize(mixed, 64, width)
    if width > 32:
        bits = text.op(f"mul i{width} {bits}, {sum(1 << low for low in range(0, width, 32))}")
    moves = text.op(f"and i{width} {text.op(f'xor i{width} {old}, {new}')}, {bits}")
    return text.op(f"xor i{width} {old}, {moves}")


def _passed_on(here: Here, nodes: Sequence[int]) -> dict[int, str]:
    """What one sweep hands to the next: the values that close the loop, and what registers in it hold."""
    program = here.program
    values = {program.drives(node) for node in nodes}
    kept = {value: here.live.cuts[program.kept[value]] for value in values & program.kept.keys()}
    return kept | {
        value: here.live.registers[program.states[value]] for value in values & program.states.keys()
    }


def _with(here: Here, names: Mapping[int, str]) -> Live:
    """What is live here with other names for some values."""
    registers, cuts = list(here.live.registers), list(here.live.cuts)
    for value, name in names.items():
        if value in here.program.states:
            registers[here.program.states[value]] = name
        else:
            cuts[here.program.kept[value]] = name
    return replace(here.live, registers=tuple(registers), cuts=tuple(cuts))
