"""Small random netlists that glitch: gated and ripple clocks, latches, own resets, cross-coupled gates."""

from __future__ import annotations

import random

from forelight.sim.netlist import Cell, Const, Memory, Netlist, Override, Register, Slice, Word, WritePort

LINES = 4


class Maker:
    """Grows a netlist of single bits, on four lines `inputs`, with everything shown at `outputs`."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.widths = [LINES]
        self.cells: list[Cell] = []
        self.registers: list[Register] = []
        self.memories: list[Memory] = []
        self.ready = [Word.of([Slice(0, bit, 1)]) for bit in range(LINES)]

    def value(self) -> Word:
        self.widths.append(1)
        return Word.value(len(self.widths) - 1, 1)

    def bit(self) -> Word:
        return self.rng.choice(self.ready)

    def gate(self, kind: str, operands: tuple[Word, ...], output: Word | None = None) -> Word:
        output = self.value() if output is None else output
        self.cells.append(Cell(kind, next(iter(output.values())), operands))
        return output

    def grow(self) -> None:
        kind = self.rng.choice(("$and", "$or", "$xor", "$not", "$mux", "$and", "$or", "latch", "memory"))
        if kind == "latch":
            self.latch()
        elif kind == "memory":
            if not self.memories:
                self.memory()
        else:
            count = {"$not": 1, "$mux": 3}.get(kind, 2)
            self.ready.append(self.gate(kind, tuple(self.bit() for _ in range(count))))

    def latch(self) -> None:
        output = self.value()
        overrides = tuple(Override(self.bit(), self.bit()) for _ in range(self.rng.randint(1, 2)))
        self.add(output, None, Word(), overrides)
        self.ready.append(output)

    def memory(self) -> None:
        """Two rows of one bit, written at an edge or while enabled."""
        clock = self.bit() if self.rng.random() < 0.7 else None
        port = WritePort(clock, self.rng.random() < 0.5, self.bit(), self.bit(), self.bit())
        rows = (Const(0, 1), Const(1, 1))
        self.memories.append(Memory("m", 1, 2, 0, rows, (port,)))
        read = self.value()
        self.cells.append(Cell("read", next(iter(read.values())), (self.bit(),), {"memory": 0}))
        self.ready.append(read)

    def cross_coupled(self) -> None:
        """A latch of two NAND or two NOR gates."""
        kind = self.rng.choice(("$and", "$or"))
        q, p = self.value(), self.value()
        for output, other in ((q, p), (p, q)):
            self.gate("$not", (self.gate(kind, (self.bit(), other)),), output)
        self.ready += [q, p]

    def flip_flop(self, output: Word) -> None:
        overrides = (Override(self.bit(), self.bit()),) if self.rng.random() < 0.4 else ()
        data = self.bit() if self.rng.random() < 0.5 else self.gate("$not", (output,))
        self.add(output, self.bit(), data, overrides)

    def add(self, output: Word, clock: Word | None, data: Word, overrides: tuple[Override, ...]) -> None:
        (number,) = output.values()
        rising, init = self.rng.random() < 0.6, Const(self.rng.getrandbits(1), 1)
        self.registers.append(Register(number, 1, clock, rising, data, overrides, init, f"r{number}"))


def unclocked_netlist(rng: random.Random) -> Netlist:
    """One netlist; nothing but what the generator gives decides it."""
    make = Maker(rng)
    states = [make.value() for _ in range(rng.randint(1, 4))]
    make.ready += states
    for _ in range(rng.randint(2, 8)):
        make.grow()
    if rng.random() < 0.5:
        make.cross_coupled()
        make.grow()
    for state in states:
        make.flip_flop(state)
    shown = Word()
    for bit in make.ready[LINES:]:
        shown += bit
    names = {f"v{n}": Word.value(n, width) for n, width in enumerate(make.widths)}
    return Netlist(
        "unclocked",
        tuple(make.widths),
        {"inputs": 0},
        {"outputs": shown},
        tuple(make.cells),
        tuple(make.registers),
        tuple(make.memories),
        names,
    )
