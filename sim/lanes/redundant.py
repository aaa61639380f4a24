"""Stuck-at faults that no run could reveal: where nothing leads to an output, or the logic is redundant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..netlist import Cell, Const, Netlist, Slice, Word
from ..schedule import schedule
from .faults import Fault, FaultLines, Net, Site

#: Nets whose levels are all tried together, and gates of a piece: a small one first, as fewer nets lead into that.
MOST_FREE, MOST_GATES = 14, (20, 400)

Levels = NDArray[np.uint64]


class Redundant:
    """Proves of faults in a netlist of gates that nothing an output shows depends on them.

    A piece is cut out around a fault: if for no levels on the nets that lead into it anything that leads out of it
    differs, the fault is redundant. Not every redundant fault is found: of some no piece is large enough.
    """

    def __init__(self, netlist: Netlist) -> None:
        self.netlist, self.lines = netlist, FaultLines(netlist)
        plan = schedule(netlist)
        self.order = {cell: at for at, cell in enumerate(plan.order)}
        self.loops = set(plan.cuts)
        self.made = {(cell.output, 0): number for number, cell in enumerate(netlist.cells)}
        self.leads_out = self._leading_out()

    def __contains__(self, fault: Fault) -> bool:
        site = fault.site
        if site.place == "driver":
            net = site.number, site.bit
            if net not in self.leads_out:
                return True
            readers = [one for one in self.lines.readers[net] if self._behind(one) in self.leads_out]
        else:
            if self._behind(site) not in self.leads_out:
                return True
            net, readers = self.lines.branches[site], [site]
        return any(self._unseen(net, fault, readers, most) for most in MOST_GATES)

    def _behind(self, site: Site) -> Net | None:
        """What a line at a reader leads to; None for an output."""
        if site.place == "output":
            return None
        things = self.netlist.cells if site.place == "gate" else self.netlist.registers
        return things[site.number].output, 0

    def _leading_out(self) -> set[Net | None]:
        """The nets from which something leads to an output, registers between, and None for the outputs."""
        sources: dict[Net | None, list[Net]] = {}
        for net, sites in self.lines.readers.items():
            for site in sites:
                sources.setdefault(self._behind(site), []).append(net)
        seen: set[Net | None] = {None}
        waiting: list[Net | None] = [None]
        while waiting:
            for net in sources.get(waiting.pop(), ()):
                if net not in seen:
                    seen.add(net)
                    waiting.append(net)
        return seen

    def _unseen(self, net: Net, fault: Fault, readers: Sequence[Site], most: int) -> bool:
        """Whether a net that is stuck for these readers changes nothing that leads out of a piece around it."""
        piece, ends = self._piece(readers, most)
        inner = {self._made(number) for number in piece}
        feeding = {one for number in piece for one in _nets(self.netlist.cells[number])} - inner | {net}
        behind = self._feeding(feeding, inner, most)
        read = feeding | {one for number in behind for one in _nets(self.netlist.cells[number])}
        free = sorted(read - {self._made(number) for number in behind})
        if len(free) > MOST_FREE:
            return False
        levels = dict(zip(free, _all_levels(len(free)), strict=True))
        for number in sorted(behind, key=self.order.__getitem__):
            cell = self.netlist.cells[number]
            levels[cell.output, 0] = _gate(cell, [_level(bit, levels) for bit in _bits(cell)])
        sound, stuck = dict(levels), np.full_like(levels[net], -fault.stuck & (1 << 64) - 1)
        differs = [levels[net] ^ stuck] if ends else []
        broken: dict[Net, Levels] = {}
        for number in piece:
            cell = self.netlist.cells[number]
            bits = _bits(cell)
            sound[self._made(number)] = _gate(cell, [_level(bit, sound) for bit in bits])
            seen = [
                stuck if Site("gate", number, at) in readers else _level(bit, {**sound, **broken})
                for at, bit in enumerate(bits)
            ]
            broken[self._made(number)] = _gate(cell, seen)
        differs += [broken[one] ^ sound[one] for one in broken if self._leaves(one, inner)]
        return not any(difference.any() for difference in differs)

    def _made(self, number: int) -> Net:
        """What a cell makes; where it closes a loop, that is another thing than what is read there."""
        output = self.netlist.cells[number].output
        return output, -1 if output in self.loops else 0

    def _piece(self, readers: Sequence[Site], most: int) -> tuple[list[int], bool]:
        """The gates that these readers lead to, in order, as many as fit; and whether one of them is no gate."""
        found: set[int] = set()
        waiting = sorted(
            {site.number for site in readers if site.place == "gate"}, key=self.order.__getitem__
        )
        ends = any(site.place != "gate" for site in readers)
        while waiting and len(found) < most:
            number = waiting.pop(0)
            output = self.netlist.cells[number].output
            if number in found or (output, 0) not in self.leads_out:
                continue
            found.add(number)
            if output not in self.loops:
                waiting += [one.number for one in self.lines.readers[output, 0] if one.place == "gate"]
        return sorted(found, key=self.order.__getitem__), ends

    def _leaves(self, net: Net, inner: set[Net]) -> bool:
        """Whether something outside of a piece reads a net in it."""
        if net[1] < 0:
            return True
        behind = ((site, self._behind(site)) for site in self.lines.readers[net])
        return any(
            one in self.leads_out and (site.place != "gate" or one not in inner) for site, one in behind
        )

    def _feeding(self, nets: set[Net], inner: set[Net], most: int) -> set[int]:
        """Gates that make nets which lead into a piece, as long as few nets lead into these."""
        behind: set[int] = set()
        free = set(nets)
        while len(behind) < most:
            choices = []
            for net in free:
                number = self.made.get(net)
                if number is None or net[0] in self.loops or number in behind:
                    continue
                more = set(_nets(self.netlist.cells[number])) - free
                if more & inner:  # only around a loop
                    continue
                choices.append((len(more), -self.order[number], number))
            if not choices:
                break
            grows, _, number = min(choices)
            if len(free) - 1 + grows > MOST_FREE:
                break
            behind.add(number)
            free = free - {(self.netlist.cells[number].output, 0)} | set(_nets(self.netlist.cells[number]))
        return behind


def _bits(cell: Cell) -> list[Word]:
    return [bit for word in cell.operands for bit in word.bits()]


def _nets(cell: Cell) -> list[Net]:
    return [(part.value, part.low) for bit in _bits(cell) for part in bit.parts if isinstance(part, Slice)]


def _all_levels(count: int) -> list[Levels]:
    """All combinations of levels on so many nets, 64 to a word."""
    rows = np.arange(max(1 << count, 64), dtype=np.uint32)
    planes = [
        np.packbits((rows >> np.uint32(n) & 1).astype(np.uint8), bitorder="little") for n in range(count)
    ]
    return [plane.view(np.uint64) for plane in planes]


def _level(bit: Word, levels: Mapping[Net, Levels]) -> Levels:
    (part,) = bit.parts
    if isinstance(part, Const):  # beside which there may be no level at all
        like = next(iter(levels.values()), np.zeros(1, np.uint64))
        return np.full_like(like, -part.bits & (1 << 64) - 1)
    return levels[part.value, part.low]


def _gate(cell: Cell, inputs: Sequence[Levels]) -> Levels:
    kind = cell.kind.replace("reduce_", "")
    if kind == "$mux":
        low, high, select = inputs
        return low & ~select | high & select
    if kind == "$not":
        return ~inputs[0]
    joins = {"$and": np.bitwise_and, "$or": np.bitwise_or, "$xor": np.bitwise_xor}
    return joins[kind].reduce(np.stack(inputs)) if kind in joins else inputs[0]
