"""Runs in machine code against single updates, on the circuits that Icarus Verilog has judged update by update."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.designs import read
from forelight.sim import Simulation
from forelight.sim.traces.trace import Trace

from tests.sizes import sized

from .stimulus import rows
from .verilog_circuits import CIRCUITS, sources

STEPS, CYCLES = sized((100, 60), (400, 300))
NARROW = {
    name: drive for name, drive in CIRCUITS.items() if name != "wide"
}  # a trace holds at most 64 bits a port
CLOCKED = [name for name, drive in NARROW.items() if drive.clocks == ("clk",)]


@pytest.mark.parametrize("name", sized([*NARROW][::3], [*NARROW]))
def test_a_trace_is_played_as_it_would_be_by_hand(name: str, seed: int) -> None:
    sim = Simulation(read(sources(name), top=name), power_up="init")
    start = sim.snapshot()
    driven = [dict(row) for row in rows(random.Random(seed), sim.inputs, NARROW[name], STEPS)]
    by_hand: dict[str, list[int]] = {port: [] for port in sim.outputs}
    for row in driven:
        sim.set_many(row)
        sim.settle()
        for port, column in by_hand.items():
            column.append(sim.get(port))
    sim.restore(start)
    values = {port: np.array([row[port] for row in driven], np.uint64) for port in sim.inputs}
    played = sim.run(Trace(np.arange(len(driven)), values, sim.inputs, len(driven)))
    at = np.searchsorted(played.times, np.arange(len(driven)), side="right") - 1
    for port, column in by_hand.items():
        assert played.values[port][at].tolist() == column, port


@pytest.mark.parametrize("name", CLOCKED[:: sized(3, 1)])
def test_a_clock_runs_as_it_would_by_hand(name: str, seed: int) -> None:
    """From a random state, with random inputs at rest; each output recorded in a run of its own."""
    sim = Simulation(read(sources(name), top=name), power_up=random.Random(seed))
    for row in rows(random.Random(seed), sim.inputs, NARROW[name], 20):
        sim.set_many(row)
        sim.settle()
    sim.set("clk", 0)
    sim.settle()
    start = sim.snapshot()
    by_hand: dict[str, list[int]] = {port: [] for port in sim.outputs}
    for _ in range(CYCLES):
        for level in (1, 0):
            sim.set("clk", level)
            sim.settle()
        for port, column in by_hand.items():
            column.append(sim.get(port))
    for port, column in by_hand.items():
        sim.restore(start)
        assert sim.run_clock("clk", cycles=CYCLES, observe=port).tolist() == column, port
