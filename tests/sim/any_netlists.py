"""Random netlists of all kinds of cells, registers, latches and memories, for comparing two ways to run one."""

from __future__ import annotations

import random

from forelight.sim.kinds import PORTS
from forelight.sim.netlist import (
    Cell,
    Const,
    Memory,
    Netlist,
    Override,
    Param,
    Register,
    Slice,
    Word,
    WritePort,
)

#: Kinds whose circuits grow with the square of the width or faster.
_HEAVY = ("$mul", "$div", "$mod", "$divfloor", "$modfloor", "$pow")


class Maker:
    """Makes one netlist: a word of what is there already is drawn for every operand, so there is no loop of cells."""

    def __init__(self, rng: random.Random, *, ripple: bool) -> None:
        self.rng, self.ripple = rng, ripple
        self.widths: list[int] = []
        self.cells: list[Cell] = []
        self.registers: list[Register] = []
        self.memories: list[Memory] = []
        self.inputs = {f"i{n}": self.value(width) for n, width in enumerate((8, 1, 5))}
        self.plain = list(self.inputs.values())  # neither cells nor forced: good for overrides
        self.ready = list(self.plain)  # good for operands of cells

    def value(self, width: int) -> int:
        self.widths.append(width)
        return len(self.widths) - 1

    def word(self, width: int, among: list[int]) -> Word:
        """Slices of values, and a constant now and then."""
        parts: list[Slice | Const] = []
        left = width
        while left:
            size = self.rng.randint(1, left)
            value = self.rng.choice(among)
            size = min(size, self.widths[value])
            if not size or self.rng.random() < 0.15:
                size = self.rng.randint(1, left)
                undefined = self.rng.getrandbits(size) if self.rng.random() < 0.1 else 0
                parts.append(Const(self.rng.getrandbits(size) & ~undefined, size, undefined))
            else:
                parts.append(Slice(value, self.rng.randint(0, self.widths[value] - size), size))
            left -= size
        return Word.of(parts)

    def clock(self) -> Word:
        """A bit of an input; where ripple is wanted, any bit."""
        among = self.ready if self.ripple and self.rng.random() < 0.4 else self.plain[:2]
        value = self.rng.choice([v for v in among if self.widths[v]])
        return Word.of([Slice(value, self.rng.randrange(self.widths[value]), 1)])

    def cell(self) -> None:
        kind = self.rng.choice([*PORTS, "case"] + ["$mux", "$and", "$or", "$add", "case"] * 4)
        if self.memories and self.rng.random() < 0.15:
            kind = "read"
        width, widths, params = self.shape(kind)
        operands = tuple(self.word(each, self.ready) for each in widths)
        self.cells.append(Cell(kind, self.value(width), operands, params))
        self.ready.append(self.cells[-1].output)

    def shape(self, kind: str) -> tuple[int, list[int], dict[str, Param]]:
        """Width of the output, widths of the operands, parameters."""
        rng = self.rng
        width, select = rng.randint(1, 6 if kind in _HEAVY else 11), rng.randint(1, 3)
        if kind == "read":
            number = rng.randrange(len(self.memories))
            return self.memories[number].width, [rng.randint(0, 5)], {"memory": number}
        if kind == "case":
            cases = [
                [self.pattern(select) for _ in range(rng.randint(0, 2))] for _ in range(rng.randint(0, 4))
            ]
            params: dict[str, Param] = {"patterns": tuple(map(tuple, cases))}
            return width, [select, *[width] * (len(cases) + 1)], params
        special: dict[str, tuple[int, list[int], dict[str, Param]]] = {
            "$lut": (1, [select], {"LUT": rng.getrandbits(1 << select)}),
            "$sop": (1, [select], {"WIDTH": select, "DEPTH": 3, "TABLE": rng.getrandbits(6 * select)}),
            "$pmux": (width, [width, width * select, select], {}),
            "$bmux": (width, [width << select, select], {}),
            "$demux": (width << select, [width, select], {}),
        }
        if kind in special:
            return special[kind]
        signs: dict[str, Param] = {f"{port}_SIGNED": rng.randint(0, 1) for port in "AB"}
        if kind in ("$mux", "$bwmux", "$fa", "$lcu", "$tribuf"):
            single = {"$mux": "S", "$lcu": "CI", "$tribuf": "EN"}.get(kind)
            return width, [1 if port == single else width for port in PORTS[kind]], {}
        most = 4 if kind == "$pow" else 11
        widths = [1 if port in ("CI", "BI") else rng.randint(0, most) for port in PORTS[kind]]
        return width, widths, signs

    def pattern(self, width: int) -> str:
        return "".join(self.rng.choice("01-") for _ in range(width))

    def registers_first(self, count: int) -> list[int]:
        """The outputs of the registers, of which the last few get overrides."""
        outputs = [self.value(self.rng.choice((1, 1, 2, 3, 7))) for _ in range(count)]
        self.plain += outputs[: count // 2]
        self.ready += outputs
        return outputs

    def register(self, index: int, output: int, *, forced: bool) -> Register:
        rng, width = self.rng, self.widths[output]
        latch = forced and rng.random() < 0.3
        overrides = tuple(
            Override(
                self.word(width, self.plain)
                if rng.random() < 0.5
                else Word.of([*self.word(1, self.plain).parts * width]),
                self.word(width, self.plain),
            )
            for _ in range(rng.randint(1, 2) if forced else 0)
        )
        data = Word() if latch else self.word(width, self.ready)
        init = Const(rng.getrandbits(width), width)
        return Register(
            output,
            width,
            None if latch else self.clock(),
            rng.random() < 0.7,
            data,
            overrides,
            init,
            f"r{index}",
        )

    def memory(self, index: int) -> Memory:
        """Written by nobody, by one clock, or without one; in rare cases by two clocks."""
        rng = self.rng
        width, size, offset = rng.randint(1, 4), rng.randint(1, 9), rng.choice((0, 0, 3))
        rows = tuple(Const(rng.getrandbits(width), width) for _ in range(size))
        shared, rising = self.clock(), rng.random() < 0.5
        writes = []
        for _ in range(rng.choice((0, 1, 1, 2))):
            clocked = rng.random() < 0.8
            among = self.ready if clocked else self.plain
            clock = (self.clock() if rng.random() < 0.1 else shared) if clocked else None
            address, data, enable = (self.word(each, among) for each in (rng.randint(0, 5), width, width))
            writes.append(WritePort(clock, rising, address, data, enable))
        return Memory(f"m{index}", width, size, offset, rows, tuple(writes))


def any_netlist(rng: random.Random, *, cells: int = 25, registers: int = 8, ripple: bool = True) -> Netlist:
    """One netlist with three inputs (8, 1 and 5 bits) and three outputs; `ripple` lets any bit be a clock."""
    maker = Maker(rng, ripple=ripple)
    outputs = maker.registers_first(registers)
    maker.memories = [maker.memory(n) for n in range(rng.choice((0, 1, 2)))]
    for _ in range(cells):
        maker.cell()
    found = tuple(maker.register(n, output, forced=n >= registers // 2) for n, output in enumerate(outputs))
    # Ports of memories may read cells too, so they are drawn once there are some.
    memories = tuple(
        Memory(m.name, m.width, m.size, m.offset, m.init, tuple(_redrawn(maker, port) for port in m.writes))
        for m in maker.memories
    )
    shown = {f"o{n}": maker.word(width, maker.ready) for n, width in enumerate((8, 1, 13))}
    names = {r.name: Word.value(r.output, r.width) for r in found}
    names |= {f"n{cell.output}": Word.value(cell.output, maker.widths[cell.output]) for cell in maker.cells}
    return Netlist(
        "random", tuple(maker.widths), maker.inputs, shown, tuple(maker.cells), found, memories, names
    )


def _redrawn(maker: Maker, port: WritePort) -> WritePort:
    if port.clock is None:
        return port
    address, data, enable = (
        maker.word(word.width, maker.ready) for word in (port.address, port.data, port.enable)
    )
    return WritePort(port.clock, port.rising, address, data, enable)
