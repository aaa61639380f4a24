"""Whole random netlists: the compiled simulation, with state in LLVM values or in memory, against the interpreter."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.sim import Simulation
from forelight.sim.compile import many_clocks
from forelight.sim.compile.compiled import Compiled
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Netlist
from forelight.sim.reference import Reference

from tests.sizes import sized

from .random_netlists import random_netlist

UPDATES = 60


def inputs(rng: random.Random, before: dict[str, int]) -> dict[str, int]:
    """One line moves, or several at once."""
    after = dict(before)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        port, width = rng.choice((("clk", 2), ("clk", 2), ("reset", 1), ("data", 12)))
        after[port] ^= 1 << rng.randrange(width)
    return after


def compare(netlist: Netlist, seed: int, in_memory: bool) -> int:
    """The number of values compared over a random run; stops where the netlist never comes to rest."""
    sim = Simulation(netlist, random.Random(seed), compiled=Compiled(netlist, keep_in_memory=in_memory))
    judge = Reference(netlist, random.Random(seed))
    rng = random.Random(seed + 1)
    levels = {"clk": 0, "reset": 0, "data": 0}
    compared = 0
    for number in range(UPDATES):
        sim.set_many(levels)
        for port, level in levels.items():
            judge.set(port, level)
        try:
            judge.settle()
        except LoopError:
            with pytest.raises(LoopError):
                sim.settle()
            return compared
        sim.settle()
        for name in (*netlist.outputs, *netlist.names):
            assert sim.get(name) == judge.get(name), f"{name} at update {number} of seed {seed}"
            compared += 1
        levels = inputs(rng, levels)
    return compared


@pytest.mark.parametrize("seed", range(sized(10, 24)))
def test_clocks_looked_for_in_parts_are_those_of_the_interpreter(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(many_clocks, "MANY", 0)
    monkeypatch.setattr(many_clocks, "_PART", 1 + seed % 3)
    netlist = random_netlist(seed, derived_clocks=True)
    assert "@look_0(" in Compiled(netlist, keep_in_memory=True).text("settle")
    compare(netlist, seed, True)


@pytest.mark.parametrize("in_memory", [False, True], ids=["in values", "in memory"])
@pytest.mark.parametrize("seed", range(sized(10, 24)))
def test_updates_are_those_of_the_interpreter(seed: int, in_memory: bool) -> None:
    compare(random_netlist(seed, derived_clocks=bool(seed & 1)), seed, in_memory)


def test_most_random_netlists_come_to_rest() -> None:
    """Or the test above would compare little."""
    compared = [compare(random_netlist(seed), seed, False) for seed in range(6)]
    print(compared)
    assert sum(count == UPDATES * 12 for count in compared) >= 3


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 110))
def test_runs_are_the_same_in_memory_and_in_values(seed: int) -> None:
    """`run_clock` and `run_samples`, which are other code than single updates."""
    netlist = random_netlist(seed, registers=14, cells=40, derived_clocks=False)
    print("seed", seed)
    found = []
    for in_memory in (False, True):
        sim = Simulation(netlist, random.Random(seed), compiled=Compiled(netlist, keep_in_memory=in_memory))
        sim.set("data", 0x5A5)
        parts = [sim.run_clock("clk", bit=bit, cycles=50, observe=f"y{bit}") for bit in (0, 1)]
        values = np.random.default_rng(seed).integers(0, 1 << 12, 80).astype(np.uint16)
        parts.append(sim.run_samples("data", values, "y2"))
        parts.append(sim.run_samples("clk", values.astype(np.uint8) & np.uint8(3), "y3"))
        state = [sim.get(name) for name in netlist.names], sim.peek_memory("memory")
        found.append(([part.tolist() for part in parts], state))
    assert found[0] == found[1]
