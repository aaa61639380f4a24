"""Stuck-at sites of a netlist of gates, collapsed by equivalence.

A line is what drives a bit (a port, a gate, a register) or, where several read that bit, each branch to one of
them: an input of a gate or register, or an output port. Each line can be stuck at 0 or at 1. Two faults are
equivalent where a gate makes them one: any input of an and at 0 and its output at 0, both sides of an inverter.
So the collapsed count is the one of the papers on the benchmark circuits of 1985 and 1989 (F. Brglez and
H. Fujiwara, ISCAS 1985; F. Brglez, D. Bryan and K. Kozminski, ISCAS 1989).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from ..errors import UsageError
from ..gates.rewrite import are_gates
from ..netlist import Netlist, Slice, Word

#: What a site belongs to: what drives a value, an input of a cell, the data, the clock, an override's mask or
#: value of a register, an output port.
Place = Literal["driver", "gate", "data", "clock", "mask", "value", "output"]

Net = tuple[int, int]  # a value and a bit of it


@dataclass(frozen=True, order=True, slots=True)
class Site:
    """One line: bit `bit` at a place.

    `number` is a value for `driver`, an index into the cells (`bit` counts through the operands), into the
    registers (for mask and value `bit` is the number of the override), or into the output ports.
    """

    place: Place
    number: int
    bit: int = 0


@dataclass(frozen=True, order=True, slots=True)
class Fault:
    """A site that is always at `stuck`, 0 or 1."""

    site: Site
    stuck: int


class FaultLines:
    """The lines of a netlist of gates."""

    def __init__(self, netlist: Netlist) -> None:
        if not are_gates(netlist) or netlist.memories:
            raise UsageError(
                f"{netlist.name} is no netlist of gates alone, and only they have stuck-at sites",
                remedy="turn it into gates(netlist, as_drawn=True); memories that are too large have none",
            )
        self.netlist = netlist
        self.drivers: list[Net] = [
            (value, bit) for value in netlist.inputs.values() for bit in range(netlist.widths[value])
        ]
        self.drivers += [(cell.output, 0) for cell in netlist.cells]
        self.drivers += [(register.output, 0) for register in netlist.registers]

    @cached_property
    def branches(self) -> Mapping[Site, Net]:
        """Every place that reads a bit, with the bit; constants are no lines."""
        return {site: net for site, word in self._reads() for net in _nets(word)}

    @cached_property
    def places(self) -> frozenset[Site]:
        """Every place that can be stuck: what drives a bit, and what reads one."""
        return frozenset((*(Site("driver", *net) for net in self.drivers), *self.branches))

    @cached_property
    def readers(self) -> Mapping[Net, tuple[Site, ...]]:
        found: dict[Net, list[Site]] = {net: [] for net in self.drivers}
        for site, net in self.branches.items():
            found[net].append(site)
        return {net: tuple(sites) for net, sites in found.items()}

    @cached_property
    def names(self) -> Mapping[Net, str]:
        """The bits that have a name in the source, by the name that lies deepest."""
        order = sorted(self.netlist.names, key=lambda name: ("$" in name, -name.count(".")))
        found: dict[Net, str] = {}
        for name in reversed(order):
            word = self.netlist.names[name]
            for place, bit in enumerate(word.bits()):
                found |= dict.fromkeys(_nets(bit), f"{name}[{place}]" if word.width > 1 else name)
        for port, value in self.netlist.inputs.items():
            found |= {(value, bit): f"{port}[{bit}]" for bit in range(self.netlist.widths[value])}
        return found

    @cached_property
    def makers(self) -> Mapping[Net, int]:
        """The number of the cell that makes a bit."""
        return {(cell.output, 0): number for number, cell in enumerate(self.netlist.cells)}

    def net(self, site: Site) -> Net | None:
        """The bit that a site carries; None for a constant."""
        return (site.number, site.bit) if site.place == "driver" else self.branches.get(site)

    def name(self, net: Net) -> str:
        """What the source calls a bit; one without a name by the gate that makes it, and by where it leads."""
        if net in self.names or net not in self.makers:
            return self.names.get(net, f"v{net[0]}")
        word = gate_word(self.netlist.cells[self.makers[net]].kind)
        return f"{'an' if word[0] in 'aeioux' else 'a'} {word} on the way to {self._aim(net)}"

    def _aim(self, net: Net) -> str:
        """The nearest thing with a name to which a bit leads."""
        seen, waiting = {net}, [net]
        for here in waiting:
            for site in self.readers.get(here, ()):
                if site.place == "output":
                    return f"output {list(self.netlist.outputs)[site.number]}[{site.bit}]"
                if site.place != "gate":
                    register = self.netlist.registers[site.number]
                    return f"register {register.name or f'v{register.output}'}"
                behind = self.netlist.cells[site.number].output, 0
                if behind in self.names:
                    return self.names[behind]
                if behind not in seen:
                    seen.add(behind)
                    waiting.append(behind)
        return "nothing"

    def src(self, site: Site) -> str:
        """Where the source says what drives or reads a line; of an input pin, what reads it first."""
        if site.place == "gate":
            return self.netlist.cells[site.number].src
        if site.place not in ("driver", "output"):
            return self.netlist.registers[site.number].src
        net = self.net(site)
        if net is None:
            return ""
        if net in self.makers:
            return self.netlist.cells[self.makers[net]].src
        held = next((one.src for one in self.netlist.registers if (one.output, 0) == net), None)
        if held is None and self.readers[net] and self.readers[net][0].place != "output":
            return self.src(self.readers[net][0])
        return held or ""

    def line(self, site: Site) -> Site:
        """The line on which a reader sits: its own branch, or the driver whose only reader it is."""
        net = self.branches[site]
        return site if len(self.readers[net]) > 1 else Site("driver", *net)

    def _reads(self) -> Iterator[tuple[Site, Word]]:
        for number, cell in enumerate(self.netlist.cells):
            for bit, word in enumerate(bit for operand in cell.operands for bit in operand.bits()):
                yield Site("gate", number, bit), word
        for number, register in enumerate(self.netlist.registers):
            if register.clock is not None:
                yield Site("data", number), register.data
                yield Site("clock", number), register.clock
            for bit, override in enumerate(register.overrides):
                yield Site("mask", number, bit), override.mask
                yield Site("value", number, bit), override.value
        for number, shown in enumerate(self.netlist.outputs.values()):
            yield from ((Site("output", number, bit), word) for bit, word in enumerate(shown.bits()))


def _nets(word: Word) -> Iterator[Net]:
    return ((part.value, part.low) for part in word.parts if isinstance(part, Slice))


def sites(netlist: Netlist, *, clocks: bool = True) -> list[Site]:
    """The lines of a netlist of gates, drivers first; without `clocks` those that only clock registers are left out."""
    lines = FaultLines(netlist)
    joined = _joined(lines)
    found = [Site("driver", *net) for net in lines.drivers if net not in joined]
    found += [site for site, net in lines.branches.items() if len(lines.readers[net]) > 1]
    return found if clocks else [site for site in found if not _only_clocks(lines, site)]


def collapsed(netlist: Netlist, *, clocks: bool = True) -> list[tuple[Fault, ...]]:
    """The faults of all sites in classes that nothing can tell apart, each from its drivers to its branches."""
    lines = FaultLines(netlist)
    leader: dict[Fault, Fault] = {}

    def find(fault: Fault) -> Fault:
        path = []
        while (above := leader.get(fault, fault)) != fault:
            path.append(fault)
            fault = above
        leader.update(dict.fromkeys(path, fault))
        return fault

    for one, other in _equivalent(lines):
        first, second = find(one), find(other)
        if first != second:
            leader[second] = first
    classes: dict[Fault, list[Fault]] = {}
    for site in sites(netlist, clocks=clocks):
        for stuck in (0, 1):
            classes.setdefault(find(Fault(site, stuck)), []).append(Fault(site, stuck))
    return [tuple(members) for members in classes.values()]


def describe(lines: FaultLines, fault: Fault) -> str:
    """A fault in words, by the names of the source where there are some."""
    netlist, site = lines.netlist, fault.site
    net = lines.net(site)
    line = "a constant" if net is None else lines.name(net)
    where = ""
    if site.place == "output":
        where = f", where output {list(netlist.outputs)[site.number]}[{site.bit}] shows it,"
    elif site.place == "gate":
        cell = netlist.cells[site.number]
        made, word = (cell.output, 0), gate_word(cell.kind)
        gate = f"the {word} that makes {lines.names[made]}" if made in lines.names else lines.name(made)
        where = f", where {gate} reads it,"
    elif site.place != "driver":
        register = netlist.registers[site.number]
        name = f"register {register.name or f'v{register.output}'}"
        does = {"data": f"{name} takes it", "clock": f"it clocks {name}"}
        where = f", where {does.get(site.place, f'it sets or clears {name}')},"
    return f"{line}{where} stuck at {fault.stuck}"


def gate_word(kind: str) -> str:
    """A kind of gate as a person calls it."""
    return {"$buf": "buffer", "$not": "inverter", "$mux": "selector"}.get(
        kind, f"{kind.removeprefix('$').removeprefix('reduce_')} gate"
    )


#: For the kinds with an equivalence: the level that decides at an input, and the level that the output then has.
_DECIDES = {"$and": (0, 0), "$reduce_and": (0, 0), "$or": (1, 1), "$reduce_or": (1, 1)}


def _equivalent(lines: FaultLines) -> Iterator[tuple[Fault, Fault]]:
    """Pairs of faults that one gate makes the same: at an input and at the output."""
    for site in lines.branches:
        if site.place != "gate":
            continue
        cell = lines.netlist.cells[site.number]
        line, output = lines.line(site), Site("driver", cell.output)
        if cell.kind in ("$buf", "$not"):
            for level in (0, 1):
                yield Fault(output, level ^ (cell.kind == "$not")), Fault(line, level)
        elif cell.kind in _DECIDES:
            level, result = _DECIDES[cell.kind]
            yield Fault(output, result), Fault(line, level)


#: The gate of pairs and the gate of many inputs that do the same.
_ALIKE = ({"$and", "$reduce_and"}, {"$or", "$reduce_or"}, {"$xor", "$reduce_xor"})


def _joined(lines: FaultLines) -> set[Net]:
    """The nets inside a gate that a reader has split: into pairs, or into a gate and an inverter behind it.

    Such a net has no name and one reader, a gate of the kind that drives it or an inverter: as drawn it was no
    line.
    """
    netlist = lines.netlist
    named = {net for word in netlist.names.values() for net in _nets(word)}
    found = set()
    for cell in netlist.cells:
        net = cell.output, 0
        readers = lines.readers[net]
        if net not in named and len(readers) == 1 and readers[0].place == "gate":
            kind = netlist.cells[readers[0].number].kind
            if any(cell.kind in kinds and kind in {*kinds, "$not"} for kinds in _ALIKE):
                found.add(net)
    return found


def _only_clocks(lines: FaultLines, site: Site) -> bool:
    """Whether a line does nothing but clock registers."""
    if site.place != "driver":
        return site.place == "clock"
    readers = lines.readers[site.number, site.bit]
    return bool(readers) and all(reader.place == "clock" for reader in readers)
