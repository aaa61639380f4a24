"""Code of long blocks: made without optimisation until it has run for so long that more pays, with one result."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.compile import compiled
from forelight.sim.compile.compiled import Compiled
from forelight.sim.machine.blocks import longest_block
from forelight.sim.machine.code import Code, Traits, machine_code
from forelight.sim.netlist import Cell, Const, Register, Word

SEED = 31
GATES = 400


def chain() -> Netlist:
    """A register that takes a row of gates, each of which reads a line and the one before; line 7 is the clock."""
    rng = random.Random(SEED)
    widths, cells, last = [8, 1], [], Word.value(1, 1)
    for _ in range(GATES):
        widths.append(1)
        kind, line = rng.choice(("$and", "$or", "$xor", "$xor")), Word.value(0, 8).bit(rng.randrange(7))
        cells.append(Cell(kind, len(widths) - 1, (last, line)))
        last = Word.value(len(widths) - 1, 1)
    clock = Word.value(0, 8).bit(7)
    state = Register(1, 1, clock, True, last, (), Const(0, 1), "q")
    outputs = {"outputs": Word.value(1, 1)}
    return Netlist("chain", tuple(widths), {"inputs": 0}, outputs, tuple(cells), (state,), ())


def test_a_long_block_is_optimised_once_it_has_run_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    print(f"seed {SEED}")
    monkeypatch.setattr(compiled, "_SOON", GATES // 2)
    levels = []

    def noted(of: Traits, write: Callable[[], str], function: str, level: int, *, passes: bool) -> Code:
        levels.append((function, level))
        return machine_code(of, write, function, level, passes=passes)

    monkeypatch.setattr(compiled, "machine_code", noted)
    netlist = chain()
    rng = np.random.default_rng(SEED)
    values = rng.integers(0, 256, size=1000, dtype=np.uint8)
    sim = Simulation(netlist, 0, compiled=Compiled(netlist, passes=False))
    judge = Simulation(netlist, 0)
    meant = [judge.run_samples("inputs", values, "outputs").tolist()]
    words = longest_block(sim.compiled.text("rows", ("inputs",), netlist.outputs["outputs"]))
    assert words > GATES
    found = [sim.run_samples("inputs", values, "outputs").tolist()]
    for _ in range(compiled._PAYS * words // 1000 + 2):
        found.append(sim.run_samples("inputs", values, "outputs").tolist())
        meant.append(judge.run_samples("inputs", values, "outputs").tolist())
    assert found == meant
    assert 1 in found[0] and 0 in found[0]
    slow = [level for function, level in levels if function == "rows"]
    assert slow == [3, 0, 3], "the judge's, then the slow one, then the one that pays"


def test_the_longest_block_counts_machine_words() -> None:
    assert longest_block("entry:\n  %a = add i8 1, 1\nhead:\n  %b = add i128 1, 1\n  br label %x\n") == 3
