"""The compiled simulation against the meaning of each cell: every kind, batches of cells in one netlist."""

from __future__ import annotations

import itertools
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

import pytest
from forelight.sim import Simulation
from forelight.sim.evaluate import evaluate
from forelight.sim.kinds import PORTS
from forelight.sim.netlist import Cell, Const, Memory, Netlist, Param, Slice, Word
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.sizes import sized

KINDS = [*PORTS, "case", "read"]
CELLS, VECTORS = 6, 12


@dataclass
class Bench:
    """A netlist of cells side by side: inputs of their own, one output each."""

    inputs: dict[str, int] = field(default_factory=dict)
    widths: list[int] = field(default_factory=list)
    cells: list[Cell] = field(default_factory=list)
    memories: list[Memory] = field(default_factory=list)

    def value(self, width: int) -> int:
        self.widths.append(width)
        return len(self.widths) - 1

    def input(self, width: int) -> Word:
        number = self.value(width)
        self.inputs[f"i{number}"] = number
        return Word.value(number, width)

    def netlist(self) -> Netlist:
        outputs = {f"o{c.output}": Word.value(c.output, self.widths[c.output]) for c in self.cells}
        return Netlist(
            "bench",
            tuple(self.widths),
            self.inputs,
            outputs,
            tuple(self.cells),
            (),
            tuple(self.memories),
        )


class Draw:
    """Draws one bench, cell by cell."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw = draw
        self.bench = Bench()

    def number(self, low: int, high: int) -> int:
        return self.draw(st.integers(low, high))

    def width(self) -> int:
        return int(
            self.draw(st.one_of(st.integers(1, 9), st.integers(0, 130), st.sampled_from([32, 64, 65, 128])))
        )

    def constant(self, width: int) -> Word:
        top = (1 << width) - 1
        bits = self.draw(
            st.one_of(st.sampled_from([0, top, top >> 1, top ^ (top >> 1), min(1, top)]), st.integers(0, top))
        )
        return Word.const(bits, width, self.number(0, top) if self.number(0, 9) == 0 else 0)

    def operand(self, width: int) -> Word:
        """An input, a constant, or both in one word, the input twice."""
        how = self.number(0, 5)
        if how == 0:
            return self.constant(width)
        if how > 2 or width < 2:
            return self.bench.input(width)
        cut = self.number(1, width - 1)
        word = self.bench.input(width)
        return (
            (word.cut(0, cut) + self.constant(width - cut))
            if how == 1
            else word.cut(cut, width - cut) + word.cut(0, cut)
        )

    def signs(self, kind: str) -> dict[str, Param]:
        ports = [port for port in PORTS[kind] if port in "AB"]
        return {f"{port}_SIGNED": self.number(0, 1) for port in ports}

    def cell(self, kind: str) -> None:
        width, operands, params = self.shape(kind)
        self.bench.cells.append(Cell(kind, self.bench.value(width), tuple(operands), params))

    def shape(self, kind: str) -> tuple[int, list[Word], Mapping[str, Param]]:
        """Width of the output, operands and parameters, as the kind ties them together."""
        special = {
            "$lut": self.lut,
            "$sop": self.sop,
            "$pmux": self.choice,
            "$bmux": self.choice,
            "$demux": self.choice,
        }
        special |= {"case": self.case, "read": self.read}
        if kind in special:
            return special[kind](kind)
        width = self.width()
        if kind in ("$mux", "$bwmux", "$fa", "$lcu", "$tribuf"):
            single = {"$mux": "S", "$lcu": "CI", "$tribuf": "EN"}.get(kind)
            return width, [self.operand(1 if p == single else width) for p in PORTS[kind]], {"WIDTH": width}
        widths = [1 if port in ("CI", "BI") else self.width() for port in PORTS[kind]]
        if kind in ("$div", "$mod", "$divfloor", "$modfloor", "$pow"):
            # LLVM unrolls a division of that many bits one by one: a few of them are enough.
            widths = [each % 40 if self.number(0, 7) else each for each in widths]
            width = width % 40 if self.number(0, 7) else width
        if kind == "$pow":
            widths[1] = min(widths[1], 20)
        operands = [self.operand(each) for each in widths]
        if len(operands) > 1 and self.number(0, 4) == 0:
            operands[1] = operands[0]
        return width, operands, self.signs(kind)

    def lut(self, kind: str) -> tuple[int, list[Word], Mapping[str, Param]]:
        count = self.number(1, 7)
        return 1, [self.operand(count)], {"WIDTH": count, "LUT": self.number(0, (1 << (1 << count)) - 1)}

    def sop(self, kind: str) -> tuple[int, list[Word], Mapping[str, Param]]:
        count, depth = self.number(1, 9), self.number(0, 5)
        # Few literals a row, or hardly anything would ever fit.
        table = sum(1 << self.number(0, 2 * count * depth - 1) for _ in range(depth * 2)) if depth else 0
        table &= (1 << 2 * count * depth) - 1
        return 1, [self.operand(count)], {"WIDTH": count, "DEPTH": depth, "TABLE": table}

    def choice(self, kind: str) -> tuple[int, list[Word], Mapping[str, Param]]:
        width, select = self.width(), self.number(1, 4)
        params = {"WIDTH": width, "S_WIDTH": select}
        if kind == "$pmux":
            return width, [self.operand(width), self.operand(width * select), self.operand(select)], params
        if kind == "$bmux":
            return width, [self.operand(width << select), self.operand(select)], params
        return width << select, [self.operand(width), self.operand(select)], params

    def case(self, kind: str) -> tuple[int, list[Word], Mapping[str, Param]]:
        width, select, count = self.width(), self.number(0, 5), self.number(0, 6)
        pattern = st.text("01-", min_size=select, max_size=select)
        patterns = self.draw(
            st.lists(st.lists(pattern, max_size=3).map(tuple), min_size=count, max_size=count)
        )
        words = [self.operand(width) for _ in range(count + 1)]
        return width, [self.operand(select), *words], {"patterns": tuple(patterns)}

    def read(self, kind: str) -> tuple[int, list[Word], Mapping[str, Param]]:
        width, size, offset = self.width(), self.number(1, 9), self.number(0, 3)
        rows = tuple(Const(self.number(0, (1 << width) - 1), width) for _ in range(size))
        self.bench.memories.append(Memory(f"m{len(self.bench.memories)}", width, size, offset, rows, ()))
        address = self.number(0, 5) or 70
        return width, [self.operand(address)], {"memory": len(self.bench.memories) - 1}


@st.composite
def benches(draw: st.DrawFn, kind: str) -> Bench:
    drawn = Draw(draw)
    for _ in range(CELLS):
        drawn.cell(kind)
    return drawn.bench


def value_of(word: Word, values: Mapping[int, int]) -> int:
    result = at = 0
    for part in word.parts:
        bits = part.bits & ~part.undefined if isinstance(part, Const) else values[part.value] >> part.low
        result |= (bits & ((1 << part.width) - 1)) << at
        at += part.width
    return result


def expected(bench: Bench, cell: Cell, values: Mapping[int, int]) -> int:
    operands = [value_of(word, values) for word in cell.operands]
    params = dict(cell.params)
    if cell.kind == "read":
        memory = bench.memories[cell.int_param("memory")]
        operands += [row.bits for row in memory.init]
        params["offset"] = memory.offset
    return evaluate(cell.kind, params, operands, [w.width for w in cell.operands], bench.widths[cell.output])


def edgy(rng: random.Random, width: int) -> int:
    """Any number, or one at the edge of the range, or a small one, as shift distances and addresses are."""
    top = (1 << width) - 1
    return rng.choice(
        [
            rng.getrandbits(width) if width else 0,
            rng.choice([0, 1, top, top >> 1, top ^ (top >> 1)]) & top,
            rng.randrange(140) & top,
        ]
    )


@pytest.mark.parametrize("kind", KINDS)
@settings(
    max_examples=sized(2, 12),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(data=st.data(), seed=st.integers(0, 1 << 32))
def test_compiled_cells(kind: str, data: st.DataObject, seed: int) -> None:
    bench = data.draw(benches(kind))
    rng = random.Random(seed)
    sim = Simulation(bench.netlist(), power_up=0)
    for _ in range(VECTORS):
        values = {number: edgy(rng, bench.widths[number]) for number in bench.inputs.values()}
        sim.set_many({name: values[number] for name, number in bench.inputs.items()})
        sim.settle()
        for cell in bench.cells:
            meant = expected(bench, cell, values)
            assert sim.get(f"o{cell.output}") == meant, (cell, [value_of(w, values) for w in cell.operands])


#: Two words a and b as one bit: by cells of these kinds, the first on both, each further one on what came before.
COMPARED = [
    *(("$eq",), ("$ne",), ("$eqx",), ("$nex",)),
    *(("$xor", "$reduce_bool"), ("$sub", "$logic_not"), ("$xnor", "$reduce_and")),
]
UNSIGNED = {"A_SIGNED": 0, "B_SIGNED": 0}


def turning(number: int, value: int, by: int, width: int) -> list[Cell]:
    """Cells that drive value `number` + 2 with the value rotated to the right, made of shifts."""
    word, numbers = Word.value(value, width), [Word.value(number + n, width) for n in range(2)]
    low, high = (Word.const(distance, 8) for distance in (by, width - by))
    return [
        Cell("$shr", number, (word, low), UNSIGNED),
        Cell("$shl", number + 1, (word, high), UNSIGNED),
        Cell("$or", number + 2, (numbers[0], numbers[1]), UNSIGNED),
    ]


@pytest.mark.parametrize("kinds", COMPARED, ids=str)
@pytest.mark.parametrize("by_shifts", [False, True])
@pytest.mark.parametrize("width", [3, 5, 8, 67])
def test_rotations_compared(kinds: tuple[str, ...], by_shifts: bool, width: int) -> None:
    """LLVM 22 makes one rotation of both sides, and takes its distance modulo the wrong number where it may."""
    equal_is_one = kinds[-1] in ("$eq", "$eqx", "$logic_not", "$reduce_and")
    distances = {1, 2, width // 2, width - 1}
    for one, other in itertools.product(distances, repeat=2):
        sides, cells, widths = [], [], [width, width]
        for value, by in ((0, one), (1, other)):
            if by_shifts:
                cells += turning(len(widths), value, by, width)
                widths += [width] * 3
                sides.append(Word.value(len(widths) - 1, width))
            else:
                sides.append(Word((Slice(value, by, width - by), Slice(value, 0, by))))
        for kind in kinds:
            widths.append(width if kind in ("$xor", "$xnor", "$sub") else 1)
            cells.append(Cell(kind, len(widths) - 1, tuple(sides), UNSIGNED))
            sides = [Word.value(len(widths) - 1, widths[-1])]
        netlist = Netlist("turned", tuple(widths), {"a": 0, "b": 1}, {"y": sides[0]}, tuple(cells), (), ())
        sim = Simulation(netlist)
        for a in (*range(min(1 << width, 32)), (1 << width) - 2, 0x5A5A5A5A5A5A5A5A5 & (1 << width) - 1):
            same = turned(turned(a, one, width), width - other, width)
            for b in (same, a, same ^ 1):
                sim.set_many({"a": a, "b": b})
                sim.settle()
                equal = turned(a, one, width) == turned(b, other, width)
                assert sim.get("y") == (equal == equal_is_one), (one, other, a, b)


def turned(value: int, by: int, width: int) -> int:
    """Rotated to the right."""
    return (value >> by | value << width - by) & (1 << width) - 1
