"""Random netlists for tests: cells of many kinds, registers with enables and overrides, memories, derived clocks."""

from __future__ import annotations

import random

from forelight.sim.netlist import Cell, Const, Memory, Netlist, Override, Register, Slice, Word, WritePort

_WIDE = 90


class Maker:
    """Grows a netlist without combinational loops, from inputs `clk` (2 bits), `reset` and `data` (12 bits)."""

    def __init__(self, seed: int, *, derived_clocks: bool) -> None:
        self.rng = random.Random(seed)
        self.derived = derived_clocks
        self.widths: list[int] = [2, 1, 12]
        self.ready: list[int] = [0, 1, 2]  # values that a new cell may read
        self.cells: list[Cell] = []
        self.memories: list[Memory] = []

    def value(self, width: int) -> int:
        self.widths.append(width)
        return len(self.widths) - 1

    def word(self, width: int) -> Word:
        """Random slices and constants of exactly `width` bits."""
        result = Word()
        while result.width < width:
            left = width - result.width
            if self.rng.random() < 0.15:
                size = self.rng.randint(1, left)
                result += Word.const(self.rng.getrandbits(size), size)
                continue
            value = self.rng.choice(self.ready)
            low = self.rng.randrange(self.widths[value])
            result += Word.of([Slice(value, low, self.rng.randint(1, min(left, self.widths[value] - low)))])
        return result

    def cell(self, kind: str, width: int, operands: tuple[Word, ...], **params: object) -> Word:
        output = self.value(width)
        self.cells.append(Cell(kind, output, operands, dict(params)))  # type: ignore[arg-type]
        self.ready.append(output)
        return Word.value(output, width)

    def grow(self) -> Word:
        rng = self.rng
        width = rng.choice((1, 1, 2, 4, 8, 13))
        kind = rng.choice(
            (
                "$and",
                "$or",
                "$xor",
                "$add",
                "$sub",
                "$not",
                "$mux",
                "$eq",
                "$lt",
                "$reduce_xor",
                "case",
                "$shr",
            )
        )
        sign = {"A_SIGNED": rng.getrandbits(1)}
        if kind == "$mux":
            return self.cell(kind, width, (self.word(width), self.word(width), self.word(1)))
        if kind in ("$not", "$reduce_xor"):
            return self.cell(kind, width, (self.word(rng.randint(1, 9)),), **sign)
        if kind == "case":
            patterns = (("00", "1-"), ("01",))
            return self.cell(
                kind, width, (self.word(2), *(self.word(width) for _ in range(3))), patterns=patterns
            )
        operands = (self.word(rng.randint(1, 9)), self.word(rng.randint(1, 5)))
        return self.cell(kind, width, operands, **sign, B_SIGNED=rng.getrandbits(1) if kind != "$shr" else 0)

    def clock(self) -> Word:
        if self.derived and self.rng.random() < 0.4:
            return self.word(1)
        return Word.of([Slice(0, self.rng.randrange(2), 1)])


def random_netlist(
    seed: int, *, registers: int = 8, cells: int = 25, derived_clocks: bool = True, memory: bool = True
) -> Netlist:
    """A netlist that depends on nothing but the arguments."""
    make = Maker(seed, derived_clocks=derived_clocks)
    rng = make.rng
    states = [
        (make.value(width), width) for width in (rng.choice((1, 1, 2, 4, 8, _WIDE)) for _ in range(registers))
    ]
    make.ready += [value for value, _ in states]
    for _ in range(cells):
        make.grow()
    if memory:
        _add_memory(make)
    for _ in range(cells // 3):
        make.grow()
    found = []
    for number, (value, width) in enumerate(states):
        held, data = Word.value(value, width), make.word(width)
        for _ in range(rng.randint(0, 3)):  # enables, one inside the other
            data = make.cell("$mux", width, (held, data, make.word(1)))
        overrides: tuple[Override, ...] = ()
        if rng.random() < 0.3:
            # From inputs alone, so that no loop arises.
            mask = Word.of([Slice(1, 0, 1)] * width) if rng.random() < 0.7 else _inputs(rng, width)
            overrides = (Override(mask, Word.const(rng.getrandbits(width), width)),)
        init = Const(rng.getrandbits(width), width)
        found.append(
            Register(value, width, make.clock(), rng.random() < 0.7, data, overrides, init, f"r{number}")
        )
    outputs = {f"y{n}": make.word(rng.choice((1, 8, 20))) for n in range(4)}
    names = {register.name: Word.value(register.output, register.width) for register in found}
    inputs = {"clk": 0, "reset": 1, "data": 2}
    return Netlist(
        f"random{seed}",
        tuple(make.widths),
        inputs,
        outputs,
        tuple(make.cells),
        tuple(found),
        tuple(make.memories),
        names,
    )


def _inputs(rng: random.Random, width: int) -> Word:
    return Word.of(Slice(2, rng.randrange(12), 1) for _ in range(width))


def _add_memory(make: Maker) -> None:
    rng = make.rng
    width, size = rng.choice((1, 5, 8)), rng.choice((3, 4, 8))
    ports = tuple(
        WritePort(
            make.clock(),
            rng.random() < 0.5,
            make.word(3),
            make.word(width),
            Word.of(make.word(1).parts * width) if rng.random() < 0.5 else make.word(width),
        )
        for _ in range(rng.randint(1, 2))
    )
    rows = tuple(Const(rng.getrandbits(width), width) for _ in range(size))
    make.memories.append(Memory("memory", width, size, rng.choice((0, 0, 2)), rows, ports))
    make.cell("read", width, (make.word(3),), memory=0)
