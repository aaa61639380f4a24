"""Shapes that LLVM's optimising code generator takes minutes or hours over come out compiled, and right."""

from __future__ import annotations

import random

import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.evaluate import evaluate
from forelight.sim.gates.rewrite import gates
from forelight.sim.machine.jit import LONGEST, generator_level
from forelight.sim.netlist import Cell, Word

from tests.sizes import sized

SEED = 31
#: Kind, widths of the operands, width of the result.
SHAPES = [
    ("$bmux", (55 * 8, 3), 55),
    ("$bmux", (64 * 64, 6), 64),
    ("$bmux", (4096, 12), 1),
    ("$demux", (64, 6), 4096),
    ("$add", (512, 512), 512),
    ("$shl", (256, 9), 256),
    ("$shift", (256, 10), 256),
    ("$mul", (32, 32), 64),
    ("$reduce_xor", (4096,), 1),
]


def one_cell(kind: str, widths: tuple[int, ...], width: int) -> Netlist:
    operands = tuple(Word.value(number, each) for number, each in enumerate(widths))
    cell = Cell(kind, len(widths), operands, {f"{port}_SIGNED": 0 for port in "AB"})
    inputs = {f"i{number}": number for number in range(len(widths))}
    outputs = {"y": Word.value(len(widths), width)}
    return Netlist("large", (*widths, width), inputs, outputs, (cell,), (), ())


@pytest.mark.slow
@pytest.mark.parametrize("as_gates", [True, False], ids=["gates", "words"])
@pytest.mark.parametrize(("kind", "widths", "width"), SHAPES[:: sized(3, 1)])
def test_large_cells_compile_to_their_meaning(
    kind: str, widths: tuple[int, ...], width: int, as_gates: bool
) -> None:
    print("seed", SEED)
    rng = random.Random(SEED)
    netlist = one_cell(kind, widths, width)
    sim = Simulation(gates(netlist) if as_gates else netlist)
    for _ in range(20):
        values = [rng.getrandbits(each) for each in widths]
        sim.set_many({f"i{number}": value for number, value in enumerate(values)})
        sim.settle()
        assert sim.get("y") == evaluate(kind, netlist.cells[0].params, values, list(widths), width)


def test_a_block_of_wide_values_is_long() -> None:
    """Machine words are counted, not lines; a label starts anew."""
    line = "  %a = add i6400 %b, %c"
    assert generator_level("\n".join([line] * (LONGEST // 100)), 3) == 3
    assert generator_level("\n".join([line] * (LONGEST // 100 + 1)), 3) == 0
    assert generator_level("\n".join([line] * (LONGEST // 100) + ["next:", line]), 3) == 3
