"""Which nets of a netlist of gates may differ from lane to lane, and which lanes are stuck where."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from ..netlist import Cell, Netlist, Slice, Word
from .faults import Fault, Net, Site


def nets_apart(
    drawn: Netlist,
    order: Iterable[int],
    cuts: Iterable[int],
    per_lane: Collection[str],
    stuck: Mapping[Site, tuple[int, int]],
) -> set[Net]:
    """State, loops, faults, the inputs `per_lane`, and all that reads these; `order` and `cuts` are of the schedule."""
    apart = {(register.output, 0) for register in drawn.registers}
    apart |= {(value, 0) for value in cuts}
    apart |= {(site.number, site.bit) for site in stuck if site.place == "driver"}
    for port in per_lane:
        value = drawn.inputs[port]
        apart |= {(value, bit) for bit in range(drawn.widths[value])}
    broken = {site.number for site in stuck if site.place == "gate"}
    for node in order:
        if node < len(drawn.cells):
            cell = drawn.cells[node]
            if node in broken or not apart.isdisjoint(nets_of(cell)):
                apart.add((cell.output, 0))
    return apart


def nets(word: Word) -> list[Net]:
    return [
        (part.value, part.low + n)
        for part in word.parts
        if isinstance(part, Slice)
        for n in range(part.width)
    ]


def net_of(bit: Word) -> Net:
    (net,) = nets(bit)
    return net


def nets_of(cell: Cell) -> list[Net]:
    return [net for word in cell.operands for net in nets(word)]


def inputs_of(cell: Cell) -> int:
    return sum(word.width for word in cell.operands)


def masks(faults: Sequence[Fault | None]) -> dict[Site, tuple[int, int]]:
    """For each site the lanes in which it is stuck at 0, and at 1."""
    found: dict[Site, tuple[int, int]] = {}
    for lane, fault in enumerate(faults):
        if fault is not None:
            zeros, ones = found.get(fault.site, (0, 0))
            bit = 1 << lane
            found[fault.site] = (zeros, ones | bit) if fault.stuck else (zeros | bit, ones)
    return found


def halves_pay(faults: Sequence[Fault | None], lanes: int) -> bool:
    """Whether most sites are stuck in one half of the lanes alone."""
    low = (1 << lanes // 2) - 1
    stuck = [zeros | ones for zeros, ones in masks(faults).values()]
    halves = sum(bool(mask & low) + bool(mask & ~low) for mask in stuck)
    return 2 * halves < 3 * len(stuck)
