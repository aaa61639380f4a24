"""Large memories with one clean clock that carry known-ness: each row with its rails, and whether it is still good.

A read shows its row where the address is known. A write with a known address takes what is there, bit by bit
joined where it may or may not be enabled. A write that may be anywhere spoils all rows at once: there are
`LOSSES` flags `lost`, of which each such write raises one more, and each row keeps beside its rails which of
them were not up when it was written. If one of those is up now, the row is unknown. When all are up, it is
unknown for good; but a write that spoils nothing, because no row has been written since the last one, raises none.

States are joined by an or of all of that, as they are with rails (`races.py`): a row of the join is
good only if it was in both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..frozen import frozen
from ..gates.arithmetic import Bits
from ..gates.builder import ONE, ZERO, Bit
from ..gates.memories import is_small
from ..netlist import Cell, Const, Memory, Netlist, Register, Word, WritePort
from .clocks import Source, clock_sources
from .rails import TernaryBuilder

#: Writes that may be anywhere, each after one that is not, after which a memory is unknown for good.
LOSSES = 16


def can_carry(memory: Memory, clean: Mapping[Word, tuple[Source, bool]]) -> bool:
    """Whether this is a memory for `Carrier`; `clean` are the clocks that are input lines."""
    clocks = {(port.clock, port.rising) for port in memory.writes}
    return not is_small(memory) and len(clocks) == 1 and all(clock in clean for clock, _ in clocks)


def untracked(netlist: Netlist, in_rounds: bool) -> tuple[str, ...]:
    """The large memories of which nothing is known, in words."""
    lines = clock_sources(netlist)
    return tuple(
        f"memory {memory.name} has {memory.size * memory.width} bits, so what it holds counts as unknown"
        for memory in netlist.memories
        if memory.writes and not is_small(memory) and (in_rounds or not can_carry(memory, lines))
    )


@frozen
class Written:
    """The bits of a write port."""

    address: Bits
    data: Bits
    enable: Bits


class Carrier:
    """One memory of the new netlist, for one of the old."""

    def __init__(self, to: TernaryBuilder, memory: Memory, known_start: bool, memories: list[Memory]) -> None:
        self.to, self.rails, self.memory, self.known_start = to, to.rails, memory, known_start
        self._memories, self._number = memories, len(memories)
        self._lost, self._written = self.rails.value(LOSSES), self.rails.value(1)
        width = 2 * memory.width + LOSSES
        rows = tuple(Const(self._start(row), width) for row in memory.init)
        memories.append(
            Memory(f"{memory.name}.rails", width, memory.size, memory.offset, rows, (), memory.src)
        )

    def _start(self, row: Const) -> int:
        """May be 1, may be 0, and all flags down."""
        width = self.memory.width
        ones = (1 << width) - 1
        may1, may0 = row.bits | row.undefined, ~row.bits & ones | row.undefined
        if not self.known_start:
            may1 = may0 = ones
        return may1 | may0 << width | (1 << LOSSES) - 1 << 2 * width

    def read(self, address: Bits) -> Bits:
        unknown = self._unknown(address)
        pairs = (self.to.pair(bit) for bit in self._row(address))
        return [self.to.of(*(self.rails.either(rail, unknown) for rail in pair)) for pair in pairs]

    def _unknown(self, bits: Bits) -> Bit:
        """Whether one of the bits is unknown."""
        return self.rails.any_of([self.rails.both(*self.to.pair(bit)) for bit in bits])

    def _row(self, address: Bits) -> Bits:
        """The row at an address that is known."""
        rails, width = self.rails, self.memory.width
        row = rails.value(2 * width + LOSSES)
        where = rails.word(self.to.pair(bit)[1] for bit in address)
        rails.cells.append(Cell("read", row, (where,), {"memory": self._number}, rails.src))
        bits = rails.bits(row)
        stale = rails.any_of(
            [rails.both(*each) for each in zip(rails.bits(self._lost), bits[2 * width :], strict=True)]
        )
        # Outside of the memory neither rail is up, and 0 is read.
        return [
            self.to.of(
                rails.either(rails.either(may0, rails.inverter(may1)), stale), rails.either(may1, stale)
            )
            for may1, may0 in zip(bits[:width], bits[width : 2 * width], strict=True)
        ]

    def write(self, ports: Sequence[Written], clock: Bit, rising: bool) -> list[Register]:
        """Give the memory its ports; the registers that say what is lost."""
        rails, name, src = self.rails, self.memory.name, self.memory.src
        before, after = self.to.pair(clock) if rising else self.to.pair(clock)[::-1]
        edge = rails.word([rails.both(after, rails.inverter(before))])
        lost, (written,) = rails.bits(self._lost), rails.bits(self._written)
        good = [*(rails.inverter(flag) for flag in lost[:-1]), ONE]
        astray, hits, writes = [], [], []
        for place, port in enumerate(ports):
            asked = rails.any_of([self.to.pair(bit)[1] for bit in port.enable])
            unknown = self._unknown(port.address)
            astray.append(rails.both(asked, unknown))
            hits.append(rails.both(asked, rails.inverter(unknown)))
            pairs = [self.to.pair(bit) for bit in self._following(ports[: place + 1])]
            row = rails.word([*(may1 for _, may1 in pairs), *(may0 for may0, _ in pairs), *good])
            where = rails.word(self.to.pair(bit)[1] for bit in port.address)
            writes.append(WritePort(edge, True, where, row, rails.word([hits[-1]] * row.width), rails.src))
        holds = rails.either(written, rails.any_of(hits))
        spoilt = rails.both(rails.any_of(astray), holds)
        more = [rails.choose(spoilt, *each) for each in zip(lost, [ONE, *lost[:-1]], strict=True)]
        rest = rails.word([rails.both(holds, rails.inverter(spoilt))])
        old = self._memories[self._number]
        self._memories[self._number] = Memory(
            old.name, old.width, old.size, old.offset, old.init, tuple(writes), old.src
        )
        started = Const(int(self.known_start), 1)
        return [
            Register(
                self._lost, LOSSES, edge, True, rails.word(more), (), Const(0, LOSSES), f"{name}.lost", src
            ),
            Register(self._written, 1, edge, True, rest, (), started, f"{name}.written", src),
        ]

    def _following(self, ports: Sequence[Written]) -> Bits:
        """The row of the last port after these have written, if all addresses are known."""
        to, last = self.to, ports[-1]
        row = self._row(last.address)
        for port in ports:
            same = ONE if port is last else self._same(port.address, last.address)
            here = to.of(self.rails.inverter(same), same)
            row = [
                to.choose(to.both(here, enable), old, new)
                for enable, old, new in zip(port.enable, row, port.data, strict=True)
            ]
        return row

    def _same(self, one: Bits, other: Bits) -> Bit:
        """Whether two known addresses are equal."""
        width = max(len(one), len(other))
        sides = ([self.to.pair(bit)[1] for bit in bits] for bits in (one, other))
        padded = ([*bits, *[ZERO] * (width - len(bits))] for bits in sides)
        unlike = [self.rails.differ(*each) for each in zip(*padded, strict=True)]
        return self.rails.inverter(self.rails.any_of(unlike))
