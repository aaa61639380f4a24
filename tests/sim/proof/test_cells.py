"""Each kind of cell under unknown operands: what is proved holds for all they may be, and gates would prove no more."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import product

import pytest
from forelight.sim.evaluate import evaluate
from forelight.sim.gates.rewrite import gates
from forelight.sim.kinds import PORTS
from forelight.sim.netlist import Cell, Const, Memory, Netlist, Param, Register, Slice, Word
from forelight.sim.proof.ternary import Proof

from tests.sizes import sized

from ..any_netlists import Maker

KINDS = [*PORTS, "case", "read"]
CELLS, PATTERNS, MOST_UNKNOWN = sized(1, 4), 12, 10
#: A bit that may be 0 and may be 1, as (may be 0, may be 1).
Rails = tuple[bool, bool]


def one_cell(
    kind: str, width: int, widths: Sequence[int], params: dict[str, Param], rows: Sequence[int]
) -> Netlist:
    """A cell on an operand port for each: each bit is that of the port, or of a register that is never clocked.

    The port `mask` says for each bit of all operands which it is; what was at power-up is in the registers.
    """
    total = sum(widths)
    mask, state, clock, known, unknown, opened, operands = range(7)
    cells = [
        Cell("$not", opened, (Word.value(mask, total),)),
        Cell("$and", known, (Word.value(operands, total), Word.value(opened, total))),
        Cell("$and", unknown, (Word.value(state, total), Word.value(mask, total))),
        Cell("$or", 7, (Word.value(known, total), Word.value(unknown, total))),
    ]
    mixed, words, at = Word.value(7, total), [], 0
    for each in widths:
        words.append(mixed.cut(at, each))
        at += each
    cells.append(Cell(kind, 8, tuple(words), params))
    asleep = Word.of([Slice(clock, 0, 1)])
    register = Register(state, total, asleep, True, Word.value(operands, total), (), Const(0, total), "state")
    memory = Memory("table", width, len(rows), 1, tuple(Const(row, width) for row in rows), ())
    return Netlist(
        "one",
        (total, total, 1, total, total, total, total, total, width),
        {"operands": operands, "mask": mask, "clock": clock},
        {"y": Word.value(8, width)},
        tuple(cells),
        (register,),
        (memory,) if rows else (),
    )


class Case:
    """One random cell of a kind."""

    def __init__(self, kind: str, seed: int) -> None:
        self.rng = rng = random.Random(f"{kind} {seed}")
        maker = Maker(rng, ripple=False)
        table = Memory("table", rng.randint(1, 4), rng.randint(1, 7), 1, (), ())
        maker.memories = [table]
        self.kind = kind
        self.width, self.widths, self.params = maker.shape(kind)
        self.rows = [rng.getrandbits(table.width) for _ in range(table.size)] if kind == "read" else []
        self.netlist = one_cell(kind, self.width, self.widths, self.params, self.rows)
        self.total = sum(self.widths)

    def pattern(self) -> tuple[int, int]:
        """Levels of the operands' bits, and a mask of those that are unknown."""
        places = self.rng.sample(range(self.total), self.rng.randint(0, min(MOST_UNKNOWN, self.total)))
        levels = self.rng.choice((0, (1 << self.total) - 1, self.rng.getrandbits(self.total or 1)))
        return levels & (1 << self.total) - 1, sum(1 << place for place in places)

    def value(self, levels: int) -> int:
        """What the cell gives for these levels of its operands' bits."""
        operands, at = [], 0
        for width in self.widths:
            operands.append(levels >> at & (1 << width) - 1)
            at += width
        params = {**self.params, "offset": 1} if self.rows else self.params
        return evaluate(self.kind, params, [*operands, *self.rows], self.widths, self.width)

    def common(self, levels: int, mask: int) -> tuple[int, int]:
        """Value and mask of the bits on which all choices of the unknown ones agree."""
        places = [place for place in range(self.total) if mask >> place & 1]
        found = {
            self.value(levels & ~mask | sum(bit << place for bit, place in zip(bits, places, strict=True)))
            for bits in product((0, 1), repeat=len(places))
        }
        first = next(iter(found))
        agreed = (1 << self.width) - 1
        for other in found:
            agreed &= ~(first ^ other)
        return first & agreed, agreed


def kleene(drawn: Netlist, levels: int, mask: int) -> int:
    """Mask of the bits of `y` that a netlist of gates makes known, gate by gate in three values (Kleene 1952)."""
    rails: dict[tuple[int, int], Rails] = {}
    for port, value in drawn.inputs.items():
        level = {"operands": levels, "mask": mask, "clock": 0}[port]
        for place in range(drawn.widths[value]):
            up = bool(level >> place & 1)
            rails[value, place] = not up, up
    for register in drawn.registers:
        rails[register.output, 0] = True, True

    def bits(word: Word) -> list[Rails]:
        found: list[Rails] = []
        for part in word.parts:
            for place in range(part.width):
                if isinstance(part, Slice):
                    found.append(rails[part.value, part.low + place])
                elif part.undefined >> place & 1:
                    found.append((True, True))
                else:
                    found.append((not part.bits >> place & 1, bool(part.bits >> place & 1)))
        return found

    for cell in drawn.cells:  # which stand in order
        rails[cell.output, 0] = gate(cell.kind, [bit for word in cell.operands for bit in bits(word)])
    shown = bits(drawn.outputs["y"])
    return sum(1 << place for place, (may0, may1) in enumerate(shown) if may0 != may1)


def gate(kind: str, inputs: Sequence[Rails]) -> Rails:
    """One gate, by what all choices of its inputs have in common."""
    if kind in ("$reduce_and", "$reduce_or"):  # of any number of inputs
        zeros, ones = zip(*inputs, strict=True)
        return (any(zeros), all(ones)) if kind == "$reduce_and" else (all(zeros), any(ones))
    found = [False, False]
    for choice in product((0, 1), repeat=len(inputs)):
        if all(rail[bit] for rail, bit in zip(inputs, choice, strict=True)):
            found[meant(kind, choice)] = True
    return found[0], found[1]


def meant(kind: str, bits: Sequence[int]) -> int:
    if kind == "$mux":
        return bits[1] if bits[2] else bits[0]
    if kind in ("$buf", "$not"):
        return bits[0] ^ (kind == "$not")
    if kind in ("$and", "$or"):
        return int(all(bits) if kind == "$and" else any(bits))
    return sum(bits) & 1


@pytest.mark.parametrize(
    ("kind", "in_rounds"),
    [*((kind, False) for kind in KINDS), *((kind, True) for kind in KINDS[:: sized(4, 1)])],
)
def test_cells(kind: str, in_rounds: bool) -> None:
    for seed in range(CELLS):
        print("seed", seed)
        found = Case(kind, seed)
        proof = Proof(found.netlist, in_rounds=in_rounds)
        drawn = gates(found.netlist, as_drawn=True)
        for _ in range(PATTERNS):
            levels, mask = found.pattern()
            proof.update({"operands": levels, "mask": mask})
            value, known = proof.get("y")
            common, agreed = found.common(levels, mask)
            where = (found.netlist.cells[-1], f"{levels:b}", f"{mask:b}")
            assert known & ~agreed == 0, where
            assert (value ^ common) & known == 0, where
            assert kleene(drawn, levels, mask) & ~known == 0, where


def known_of(kind: str, operands: Sequence[tuple[int, int, int]], width: int) -> tuple[int, int]:
    """The proof of one cell; operands are (width, levels, mask of unknown bits)."""
    netlist = one_cell(kind, width, [each for each, _, _ in operands], {}, ())
    levels = mask = at = 0
    for each, level, unknown in operands:
        levels, mask, at = levels | level << at, mask | unknown << at, at + each
    proof = Proof(netlist)
    proof.update({"operands": levels, "mask": mask})
    return proof.get("y")


@pytest.mark.parametrize("unknown", range(8))
def test_known_low_bits_of_a_sum_stay_known(unknown: int) -> None:
    """Bits of a sum below the first unknown bit of an operand do not depend on it."""
    for kind, result in (("$add", 0b1011_0110 + 0b0101_1011), ("$sub", 0b1011_0110 - 0b0101_1011)):
        mask = 0xFF << unknown & 0xFF
        value, known = known_of(kind, [(8, 0b1011_0110, mask), (8, 0b0101_1011, 0)], 8)
        low = (1 << unknown) - 1
        assert known & low == low
        assert value & low == result & low


def test_a_product_has_the_zeros_of_its_factors() -> None:
    assert known_of("$mul", [(4, 0b1000, 0b0000), (4, 0b0000, 0b1111)], 8) == (0, 0b1000_0111)
