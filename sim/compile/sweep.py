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

from ..machine.blocks import SWEEP
from ..netlist import Word
from .program import Here, Live

#: Sweeps in order before chance is called in, and as many again as twice the loop has nodes.
_IN_ORDER = 64
#: Sweeps by chance before the loop starts again from where it was; a power of two.
_ATTEMPT = 64
#: An odd number with about as many ones as zeros, all over: 2**64 over the golden ratio (Knuth, TAOCP 3, 6.4).
_MIX = 0x9E3779B97F4A7C15


def come_to_rest(here: Here, nodes: Sequence[int], most: int) -> None:
    """Write the sweeps of one loop, its nodes in order; after `most` of them the text goes to `giveup`.

    `here` is afterwards the place where the loop is at rest. The sweeps are one block that jumps to itself: such loops
    LLVM compiles soon however many there are.
    """
    program, text, graph = here.program, here.text, here.program.plan.graph
    here.emit(program.needs(word for node in nodes for word in graph.words(node)) - set(nodes))

    origin, top, still, rest = text.here, text.name("sweep"), text.name("still"), text.name("rest")
    text.do(SWEEP)
    text.do(f"br label %{top}")
    text.block(top)
    swept = text.phi("i32", "0", origin)
    start = _passed_on(here, nodes)
    before = {
        value: text.phi(f"i{program.netlist.widths[value]}", name, origin) for value, name in start.items()
    }
    here.live = _with(here, before)
    changed, closing = _sweep(here, nodes, before, most)
    after = {value: here.scope.word(Word.value(value, program.netlist.widths[value])) for value in before}
    taken = _by_chance(here, closing, start, before, after, swept, _IN_ORDER + 2 * len(nodes))
    following = text.op(f"add i32 {swept}, 1")
    again = text.op(f"and i1 {changed}, {text.op(f'icmp ult i32 {swept}, {most}')}")
    text.do(f"br i1 {again}, label %{top}, label %{still}")
    text.arm(swept, following, text.here)
    for value, phi in before.items():
        text.arm(phi, taken[value], text.here)
    text.block(still)
    text.do(f"br i1 {changed}, label %giveup, label %{rest}")
    text.block(rest)
    here.live = _with(here, after)


def _sweep(here: Here, nodes: Sequence[int], before: Mapping[int, str], most: int) -> tuple[str, list[int]]:
    """One sweep in order; an i1 that says whether it changed a value that closes the loop, and these values.

    Where latches close the loop, loops of cells alone inside it come to rest in each sweep.
    """
    program, text, scope = here.program, here.text, here.scope
    for value in before.keys() & program.closing:
        scope.renew(value, before[value])
    changed, closing, done = "0", [], set[int]()
    for node in nodes:
        value, ring = program.drives(node), program.inner.get(node, ())
        if node in done:
            continue
        if 0 < len(ring) < len(nodes):
            come_to_rest(here, ring, most)
            done.update(ring)
        elif value in program.closing:
            name = here.result(node, scope)
            differs = text.op(f"icmp ne i{program.netlist.widths[value]} {before[value]}, {name}")
            changed = text.op(f"or i1 {changed}, {differs}")
            scope.renew(value, name)
            closing.append(value)
        else:
            here.emit([node])
    return changed, closing


def _by_chance(
    here: Here,
    closing: Sequence[int],
    start: Mapping[int, str],
    before: Mapping[int, str],
    after: Mapping[int, str],
    count: str,
    patience: int,
) -> Mapping[int, str]:
    """What the next sweep begins with: what this one came to, or, beyond the patience, about half of its bits."""
    program, text = here.program, here.text
    if sum(program.netlist.widths[value] for value in closing) < 2:
        return after  # one bit alone has nobody to wait for
    late = text.op(f"icmp ugt i32 {count}, {patience}")
    coins = text.op(f"select i1 {late}, i64 {_mixed(here, count)}, i64 -1")
    due = text.op(f"icmp eq i32 {text.op(f'and i32 {count}, {_ATTEMPT - 1}')}, 0")
    anew = text.op(f"and i1 {late}, {due}")
    found = dict(after)
    for place, value in enumerate(closing):
        width = program.netlist.widths[value]
        differs = text.op(f"xor i{width} {before[value]}, {after[value]}")
        moves = text.op(f"and i{width} {differs}, {_coins(here, coins, place, width)}")
        found[value] = text.op(f"xor i{width} {before[value]}, {moves}")
    kinds = {value: f"i{program.netlist.widths[value]}" for value in found}
    return {value: text.select(anew, kinds[value], start[value], name) for value, name in found.items()}


def _mixed(here: Here, count: str) -> str:
    """64 bits that look like chance, another set for each count."""
    text = here.text
    mixed = text.op(f"mul i64 {here.scope.resize(count, 32, 64)}, {_MIX}")
    high = text.op(f"lshr i64 {mixed}, 29")
    return text.op(f"mul i64 {text.op(f'xor i64 {mixed}, {high}')}, {_MIX}")


def _coins(here: Here, coins: str, place: int, width: int) -> str:
    """So many of 64 bits, other ones for each place."""
    turn = 7 * place + 32 & 63
    turned = here.text.op(f"call i64 @llvm.fshl.i64(i64 {coins}, i64 {coins}, i64 {turn})")
    bits = here.scope.resize(turned, 64, width)
    if width <= 64:
        return bits
    return here.text.op(f"mul i{width} {bits}, {sum(1 << low for low in range(0, width, 64))}")


def _passed_on(here: Here, nodes: Sequence[int]) -> dict[int, str]:
    """What one sweep hands to the next: the values that close the loop, and what registers in it hold."""
    program, found = here.program, {}
    for value in map(program.drives, nodes):
        if value in program.states:
            found[value] = here.live.registers[program.states[value]]
        elif value in program.kept:
            found[value] = here.live.cuts[program.kept[value]]
    return found


def _with(here: Here, names: Mapping[int, str]) -> Live:
    """What is live here with other names for some values."""
    registers, cuts = list(here.live.registers), list(here.live.cuts)
    for value, name in names.items():
        if value in here.program.states:
            registers[here.program.states[value]] = name
        else:
            cuts[here.program.kept[value]] = name
    return replace(here.live, registers=tuple(registers), cuts=tuple(cuts))
