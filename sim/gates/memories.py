"""Small memories as one-bit gates: a register for each bit, decoders before them, trees of choices behind."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ..frozen import frozen
from ..netlist import Const, Memory, Netlist, Override, Register, Word, WritePort
from .arithmetic import Bits
from .builder import ZERO, Bit, Builder

#: Memories of more bits stay memories.
MOST_BITS = 4096


def is_small(memory: Memory) -> bool:
    """Whether it has few enough bits for gates."""
    return memory.size * memory.width <= MOST_BITS


def is_kept(memory: Memory) -> bool:
    """Whether a memory stays one: it has too many bits, or is written by more than one clock."""
    clocks = {(port.clock, port.rising) for port in memory.writes if port.clock is not None}
    return not is_small(memory) or len(clocks) > 1


def row_at(to: Builder, memory: Memory, rows: Sequence[Bits], address: Bits) -> Bits:
    """The row that an address says; 0 outside of the memory."""
    places = enumerate(rows, memory.offset)
    reached = {place: row for place, row in places if not place >> len(address)}
    return to.tree(address, reached, [ZERO] * memory.width)


def image(memory: Memory) -> Const:
    """The declared contents, row after row."""
    bits = undefined = 0
    for place, row in enumerate(memory.init):
        bits |= row.bits << place * memory.width
        undefined |= row.undefined << place * memory.width
    return Const(bits, memory.size * memory.width, undefined)


@frozen
class Cells:
    """The bits of one memory, row by row: constants of a memory that nobody writes, else values of registers."""

    memory: Memory
    rows: tuple[Bits, ...]
    values: tuple[int, ...]  # one a bit, none for constants

    @staticmethod
    def of(memory: Memory, to: Builder) -> Cells:
        if not memory.writes:
            return Cells(memory, tuple(to.constant(row) for row in memory.init), ())
        values = tuple(to.value(1) for _ in range(memory.size * memory.width))
        bits = [to.bits(value)[0] for value in values]
        width = memory.width
        return Cells(
            memory, tuple(bits[row * width : (row + 1) * width] for row in range(memory.size)), values
        )

    def read(self, to: Builder, address: Bits) -> Bits:
        """The row that an address says; 0 outside of the memory."""
        return row_at(to, self.memory, self.rows, address)

    def registers(self, to: Builder, netlist_word: Callable[[Word], Bits]) -> list[Register]:
        """The registers with all that writes them; nothing for a memory of constants."""
        if not self.values:
            return []
        data = [bit for row in self.rows for bit in row]
        forced: list[list[Override]] = [[] for _ in data]
        clock, rising = None, True
        for port in self.memory.writes:
            to.src = port.src
            if port.clock is not None:
                clock, rising = to.word(netlist_word(port.clock)), port.rising
            for place, (hit, bit) in enumerate(self._asked(to, netlist_word, port)):
                if port.clock is None:
                    forced[place].append(Override(to.word([hit]), to.word([bit])))
                else:
                    data[place] = to.choose(hit, data[place], bit)
        own = [bit for row in self.rows for bit in row]
        return [
            register_bit(to, value, clock, rising, now, taken, overrides, init, name, self.memory.src)
            for value, now, taken, overrides, init, name in zip(
                self.values, own, data, forced, self._inits(to), self._names(), strict=True
            )
        ]

    def _asked(
        self, to: Builder, netlist_word: Callable[[Word], Bits], port: WritePort
    ) -> list[tuple[Bit, Bit]]:
        """For each bit whether a port writes it, and what."""
        data, enable = netlist_word(port.data), netlist_word(port.enable)
        offset = self.memory.offset
        lines = to.decode(netlist_word(port.address), range(offset, offset + self.memory.size))
        return [
            (to.both(lines[offset + row], enable[place]) if offset + row in lines else ZERO, data[place])
            for row in range(self.memory.size)
            for place in range(self.memory.width)
        ]

    def _inits(self, to: Builder) -> list[Word]:
        return [to.word([bit]) for row in self.memory.init for bit in to.constant(row)]

    def _names(self) -> list[str]:
        memory = self.memory
        return [
            f"{memory.name}[{memory.offset + row}][{place}]"
            for row in range(memory.size)
            for place in range(memory.width)
        ]


def register_bit(
    to: Builder,
    value: int,
    clock: Word | None,
    rising: bool,
    now: Bit,
    data: Bit,
    overrides: Sequence[Override],
    init: Word,
    name: str,
    src: str,
) -> Register:
    """One bit of a register or memory that something may assign.

    A register that takes nothing but itself would be wiring, with its declared contents at every power-up, and
    a single bit of a wider one is none: it takes itself through a buffer.
    """
    taken = to.word([data])
    if data == now and not overrides:
        taken = to.word([to.gate("$buf", (now,))])
    constant = init.as_const()
    assert constant is not None
    return Register(value, 1, clock, rising, taken, tuple(overrides), constant, name, src)


def rewired(memory: Memory, word: Callable[[Word], Word]) -> Memory:
    """A memory that stays one, with the new words at its ports."""
    writes = tuple(
        WritePort(
            word(port.clock) if port.clock is not None else None,
            port.rising,
            word(port.address),
            word(port.data),
            word(port.enable),
            port.src,
        )
        for port in memory.writes
    )
    return Memory(memory.name, memory.width, memory.size, memory.offset, memory.init, writes, memory.src)


def kept(netlist: Netlist) -> list[int]:
    """The numbers of the memories that stay memories."""
    return [number for number, memory in enumerate(netlist.memories) if is_kept(memory)]
