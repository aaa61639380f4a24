"""Random rows for a circuit that nobody has described: what acts at once moves alone, the rest moves together."""

from __future__ import annotations

import random
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from forelight.sim.netlist import Netlist, Slice, Word
from forelight.sim.schedule import Graph, schedule

#: An input port and a bit of it.
Line = tuple[str, int]
#: Steps after which an input is driven in another way.
_WHILE = 30
#: Steps at the start in which a circuit is reset if it has a known reset.
_FIRST = 4


@dataclass(frozen=True)
class Lines:
    """The input bits of a circuit: those that reach a clock, those that reach what acts by its level, the rest."""

    clocks: tuple[Line, ...]
    controls: tuple[Line, ...]
    data: tuple[Line, ...]


def lines(netlist: Netlist) -> Lines:
    """Sorts the input bits of a netlist."""
    plan = schedule(netlist)
    ports = [port for memory in netlist.memories for port in memory.writes]
    clocked = [*(register.clock for register in netlist.registers), *(port.clock for port in ports)]
    clocks = _reaching(plan.graph, (clock for clock in clocked if clock))
    forced = [override.mask for register in netlist.registers for override in register.overrides]
    forced += [word for port in ports if port.clock is None for word in (port.enable, port.address)]
    forced += [word for loop in plan.loops for node in loop for word in plan.graph.words(node)]
    controls = _reaching(plan.graph, forced)
    every = [(name, bit) for name, value in netlist.inputs.items() for bit in range(netlist.widths[value])]
    return Lines(
        tuple(line for line in every if line in clocks),
        tuple(line for line in every if line in controls - clocks),
        tuple(line for line in every if line not in controls | clocks),
    )


def _reaching(graph: Graph, words: Iterable[Word]) -> set[Line]:
    found = list(words)
    names = {value: name for name, value in graph.netlist.inputs.items()}
    found += [word for node in graph.cone(found) for word in graph.words(node)]
    parts = {part for word in found for part in word.parts if isinstance(part, Slice) and part.value in names}
    return {(names[p.value], bit) for p in parts for bit in range(p.low, p.low + p.width)}


def rows(
    rng: random.Random, netlist: Netlist, steps: int, wanted: Mapping[str, Sequence[int]]
) -> Iterator[dict[str, int]]:
    """All inputs in each row. A step moves the data and then, one after another, two lines that act at once.

    `wanted` holds for some ports the values that they are to have, each as likely as the other, the last one in
    the first steps.
    """
    found = lines(netlist)
    widths = {name: netlist.widths[value] for name, value in netlist.inputs.items()}
    free = {name: sum(1 << bit for owner, bit in found.data if owner == name) for name in widths}
    levels = dict.fromkeys(widths, 0)
    ways: dict[str, str] = {}
    yield dict(levels)
    for step in range(steps):
        if step % _WHILE == 0:
            ways = {name: rng.choice(_RESTS if _RESET.search(name) else _WAYS) for name in widths}
            for name, bit in found.controls if step else ():
                if rng.random() < 0.5:
                    levels[name] ^= 1 << bit
                    yield dict(levels)
        for name, mask in free.items():
            if name in wanted:
                value = rng.choice(wanted[name]) if step >= _FIRST else wanted[name][-1]
            else:
                value = _value(rng, ways[name], widths[name])
            levels[name] = levels[name] & ~mask | value & mask
        yield dict(levels)
        for name, bit in _two(rng, found):
            levels[name] ^= 1 << bit
            yield dict(levels)


_RESET = re.compile("re?se?t|clr|clear", re.IGNORECASE)
#: A reset that comes at every other step shows little.
_RESTS = ("low", "high")
_WAYS = ("any", "any", "low", "high", "one hot", "small", "edge")


def _value(rng: random.Random, way: str, width: int) -> int:
    """A value of some width: any, mostly 0 or mostly 1 in each bit, one hot, below 16, or at an end of the range."""
    if way in ("low", "high"):
        few = sum((rng.random() < 0.05) << bit for bit in range(width))
        return few if way == "low" else ~few & ((1 << width) - 1)
    if way == "one hot" and width:
        return 1 << rng.randrange(width)
    if way == "small":
        return rng.randrange(16) & ((1 << width) - 1)
    if way == "edge" and width:
        return rng.choice((0, 1, (1 << width) - 1, 1 << (width - 1), (1 << (width - 1)) - 1))
    return rng.getrandbits(width) if width else 0


def _two(rng: random.Random, found: Lines) -> list[Line]:
    """Mostly a clock up and down, at times a control."""
    groups = [group for group in (found.clocks, found.clocks, found.clocks, found.controls) if group]
    if not groups:
        return []
    line = rng.choice(rng.choice(groups))
    return [line, line] if rng.random() < 0.8 else [line]
