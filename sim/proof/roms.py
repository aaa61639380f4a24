"""Large memories that nobody writes, read through rails: one memory for each rail."""

from __future__ import annotations

from ..gates.arithmetic import Bits
from ..gates.builder import Bit
from ..netlist import Cell, Const, Memory
from .rails import TernaryBuilder


class Roms:
    """The memories of the new netlist, two for each that is read."""

    def __init__(self, to: TernaryBuilder) -> None:
        self.to = to
        self.memories: list[Memory] = []
        self._twins: dict[int, tuple[int, int]] = {}

    def read(self, number: int, memory: Memory, cell: Cell, address: Bits) -> Bits:
        """A large memory that nobody writes: one a rail, and unknown as a whole under an unknown address."""
        rails = self.to.rails
        if number not in self._twins:
            images = (
                tuple(
                    Const((~c.bits if rail == 0 else c.bits | c.undefined) & (1 << c.width) - 1, c.width)
                    for c in memory.init
                )
                for rail in (0, 1)
            )
            self._twins[number] = len(self.memories), len(self.memories) + 1
            for rail, image in enumerate(images):
                name = f"{memory.name}.may{rail}"
                self.memories.append(
                    Memory(name, memory.width, memory.size, memory.offset, image, (), memory.src)
                )
        unknown = rails.any_of([rails.both(*self.to.pair(bit)) for bit in address])
        where = rails.word(self.to.pair(bit)[1] for bit in address)
        read: list[list[Bit]] = []
        for twin in self._twins[number]:
            output = rails.value(memory.width)
            params = {**cell.params, "memory": twin}
            rails.cells.append(Cell("read", output, (where,), params, cell.src))
            read.append([rails.either(bit, unknown) for bit in rails.bits(output)])
        return [self.to.of(*pair) for pair in zip(*read, strict=True)]
