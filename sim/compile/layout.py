"""Where each input, register, memory, clock level and output lies in the block of state."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..frozen import frozen
from ..netlist import Netlist
from ..schedule import Schedule

#: Clocks above which the code of an update is cut into parts (`many_clocks.py`).
MANY_CLOCKS = 256
#: Bits of one element of a recorded or played array.
ELEMENTS = (8, 16, 32, 64)
#: Byte 0 of the state: 1 until the first settling is over, which makes no edges.
FRESH = 0
#: Byte 1 of the state: set to 1 by code that met a loop or a train of edges without end.
RESTLESS = 1


def element_bits(width: int) -> int:
    """Bits of the array element that holds `width` bits, at most 64."""
    return next(bits for bits in ELEMENTS if width <= bits)


def storage_bits(width: int) -> int:
    """Bits of memory that hold `width` bits: 8, 16, 32, 64, then whole 64s."""
    for size in (8, 16, 32, 64):
        if width <= size:
            return size
    return -(-width // 64) * 64


@frozen
class Place:
    """`width` bits at byte `offset`, stored little-endian in `bits` bits, the spare ones 0."""

    offset: int
    width: int
    bits: int

    @property
    def size(self) -> int:
        return self.bits // 8


@frozen
class Rows:
    """A memory's rows: `count` real ones, one that takes writes which fall outside, and one that is always 0."""

    first: Place
    count: int

    @property
    def spill(self) -> int:
        return self.count

    @property
    def zero(self) -> int:
        return self.count + 1


@frozen
class Layout:
    """Places in the block of state, which is `size` bytes long and aligned to 64."""

    inputs: dict[str, Place]
    registers: tuple[Place, ...]
    cuts: tuple[Place, ...]
    clocks: tuple[Place, ...]  # the level of each group's clock when the netlist last came to rest
    memories: tuple[Rows, ...]
    outputs: dict[str, Place]
    size: int


def aligned(size: int) -> NDArray[np.uint8]:
    """A block of zeros that starts at a multiple of 64, as a state must."""
    block = np.zeros(size + 64, np.uint8)
    start = -block.ctypes.data % 64
    return block[start : start + size]


def layout(netlist: Netlist, plan: Schedule) -> Layout:
    """Lay out the state of a netlist."""
    at = 8

    def place(width: int, count: int = 1) -> Place:
        nonlocal at
        bits = storage_bits(width)
        align = min(bits // 8, 8)
        at = -(-at // align) * align
        found = Place(at, width, bits)
        at += bits // 8 * count
        return found

    inputs = {name: place(netlist.widths[value]) for name, value in netlist.inputs.items()}
    registers = tuple(place(register.width) for register in netlist.registers)
    cuts = tuple(place(netlist.widths[value]) for value in plan.kept)
    clocks = tuple(place(1) for _ in plan.groups)
    memories = tuple(Rows(place(memory.width, memory.size + 2), memory.size) for memory in netlist.memories)
    outputs = {name: place(word.width) for name, word in netlist.outputs.items()}
    return Layout(inputs, registers, cuts, clocks, memories, outputs, -(-at // 64) * 64)
