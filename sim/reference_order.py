"""In which order the interpreter of a netlist settles its parts: groups, each after all that it reads."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Node:
    """Something that settles: a cell, a register with overrides, a memory that is written without a clock.

    What nodes read and drive are value numbers, and `-1 - n` for the rows of memory n.
    """

    drives: int
    reads: frozenset[int]
    update: Callable[[], bool]
    src: str
    holds: bool = False  # a register: it keeps what it has until the cells around it have come to rest


@dataclass(frozen=True, slots=True)
class Group:
    """Nodes that are computed once in this order, or, in a loop, until nothing moves; `inner` comes to rest before."""

    nodes: Sequence[Node]
    is_loop: bool
    inner: Sequence[Group] = ()


def ordered(nodes: Sequence[Node]) -> list[Group]:
    """Groups of nodes, each after all that it reads; a group of several, or one that reads itself, is a
    loop. What registers do not hold in a loop is in groups of its own inside.

    Two walks, as S. R. Kosaraju found (in Aho, Hopcroft and Ullman, Data Structures and Algorithms, 1983,
    section 6.7): number the nodes as the walk along the readers leaves them, then walk back from the last.
    """
    by_driven = {node.drives: number for number, node in enumerate(nodes)}
    sources = [[by_driven[read] for read in sorted(node.reads) if read in by_driven] for node in nodes]
    readers: list[list[int]] = [[] for _ in nodes]
    for number, found in enumerate(sources):
        for source in found:
            readers[source].append(number)
    left: list[int] = []
    seen: set[int] = set()
    for start in range(len(nodes)):
        left += _walk(start, readers, seen)
    groups = []
    seen = set()
    for start in reversed(left):
        found = sorted(_walk(start, sources, seen))
        if found:
            is_loop = len(found) > 1 or found[0] in sources[found[0]]
            inside = [nodes[number] for number in found]
            held = [node for node in inside if node.holds]
            inner = ordered([node for node in inside if not node.holds]) if is_loop and held else ()
            groups.append(Group(held or inside, is_loop, inner))
    return groups


def _walk(start: int, along: Sequence[Sequence[int]], seen: set[int]) -> list[int]:
    """The numbers reached from `start` that were not seen before, in the order in which the walk leaves
    them."""
    if start in seen:
        return []
    seen.add(start)
    left: list[int] = []
    path = [(start, iter(along[start]))]
    while path:
        number, following = path[-1]
        for nxt in following:
            if nxt not in seen:
                seen.add(nxt)
                path.append((nxt, iter(along[nxt])))
                break
        else:
            left.append(number)
            path.pop()
    return left
