"""Arithmetic on whole words of bits that may be unknown: bit by bit what gates make of them."""

from __future__ import annotations

import random

import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.kinds import PORTS
from forelight.sim.netlist import Cell, Const, Param, Register, Word
from forelight.sim.proof.rewrite import unknowns

from tests.sizes import sized

SEED, PATTERNS = 17, 30
#: Kinds that words are made for, and widths around those of machine words.
KINDS = {
    "sums": ("$add", "$sub", "$alu", "$mul", "$pow", "$div", "$modfloor"),
    "comparisons": ("$lt", "$le", "$ge", "$gt"),
    "choices": ("$mux", "$pmux", "$bmux", "$shl", "$sshr", "$shiftx"),
}
WIDTHS = sized((6, 13), (5, 6, 13, 64, 65))
#: Where gates grow with more than the width, they take long.
WIDEST = {"$mul": 32, "$div": 13, "$modfloor": 13, "$pow": 13}


def one_cell(kind: str, width: int, signed: int, rng: random.Random) -> Netlist:
    """A cell on registers that take ports of their own."""
    widths = [width if name in "AB" else 1 for name in PORTS[kind]]
    if kind == "$pmux":
        widths = [width, 3 * width, 3]
    elif kind == "$bmux":
        widths = [4 * width, 2]
    elif kind in ("$shl", "$sshr", "$shiftx", "$pow"):
        widths = [width, 3]
    elif kind in ("$add", "$sub", "$mul") and rng.random() < 0.5:
        widths = [width - rng.randrange(3), width - rng.randrange(3)]
    count, output = len(widths), 1 if kind in KINDS["comparisons"] else width
    inputs = {f"p{n}": n for n in range(count)} | {"clock": 2 * count}
    clock = Word.value(2 * count, 1)
    registers = tuple(
        Register(count + n, each, clock, True, Word.value(n, each), (), Const(0, each), f"r{n}")
        for n, each in enumerate(widths)
    )
    plain = kind in ("$mux", "$pmux", "$bmux", "$alu")
    params: dict[str, Param] = {} if plain else {f"{name}_SIGNED": signed for name in "AB"}
    operands = tuple(Word.value(count + n, each) for n, each in enumerate(widths))
    cell = Cell(kind, 2 * count + 1, operands, params)
    outputs = {"y": Word.value(2 * count + 1, output)}
    return Netlist(kind, (*widths, *widths, 1, output), inputs, outputs, (cell,), registers, ())


def shown(netlist: Netlist, rng: random.Random) -> tuple[int, list[tuple[int, int]]]:
    """How many cells there are, and value and mask of the output for operands of which bits are unknown, more or less
    often."""
    rewritten = unknowns(netlist, clean_clocks=True)
    sim = Simulation(rewritten, "init", compiled=Compiled(rewritten, passes=False))
    sim.settle()
    found = []
    for pattern in range(PATTERNS):
        for port, number in netlist.inputs.items():
            width = netlist.widths[number]
            mask = rng.getrandbits(width) if port != "clock" else 0
            for _ in range(pattern % 5):
                mask &= rng.getrandbits(width)
            few = rng.getrandbits(width) if pattern % 2 else -1
            sim.set(port, rng.getrandbits(width) & few if port != "clock" else 0)
            sim.set(f"{port}.unknown", mask)
        for level in (0, 1):
            sim.set("clock", level)
            sim.settle()
        found.append((sim.get("y"), sim.get("y.unknown")))
    return len(rewritten.cells), found


@pytest.mark.parametrize("kind", [kind for kinds in KINDS.values() for kind in kinds][:: sized(6, 1)])
def test_words_are_what_their_gates_are(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    print("seed", SEED)
    lost = told = 0
    for width in (width for width in WIDTHS if width <= WIDEST.get(kind, 65)):
        for signed in (0, 1):
            netlist = one_cell(kind, width, signed, random.Random(f"{SEED} {kind} {width}"))
            words, found = shown(netlist, random.Random(SEED))
            with monkeypatch.context() as patch:
                patch.setattr("forelight.sim.proof.words._LEAST", 1 << 30)
                gates, meant = shown(netlist, random.Random(SEED))
            assert found == meant, (kind, width, signed)
            assert words < gates or width < 13, (kind, width)  # which is what words are for
            lost += sum(unknown != 0 for _, unknown in found)
            told += sum(unknown == 0 for _, unknown in found)
    print(kind, "all known", told, "something unknown", lost)
    assert lost and told
