"""Lanes take up and give back states of simulations, and tell where they agree."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.sim import Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.errors import UsageError
from forelight.sim.lanes.variants import Lanes
from forelight.sim.rtlil.reader import parse

from tests.sizes import sized

from ...benchmarks.circuits import CIRCUITS, Circuit
from ...benchmarks.design import OnPins, rtlil
from ..any_netlists import any_netlist

COUNT = 65


@pytest.mark.parametrize("circuit", sized(CIRCUITS[1:3], CIRCUITS), ids=lambda circuit: circuit.name)
def test_lanes_go_on_where_simulations_stood(circuit: Circuit) -> None:
    seed = 11
    netlist = parse(rtlil(OnPins(circuit.design())))
    rng = np.random.default_rng(seed)
    values = rng.integers(0, 256, 400).astype(np.uint8)
    sim = Simulation(netlist)
    states, table = [], []
    for lane in range(COUNT):
        sim.power_cycle(random.Random(f"{seed}/{lane}"))
        sim.run_samples("inputs", values[:40], "outputs")
        states.append(sim.snapshot())
        table.append(sim.run_samples("inputs", values[40:], "outputs"))
    lanes = Lanes(netlist, COUNT)
    lanes.load(states)
    first, differ = lanes.run_agreement({"inputs": values[40:]}, "outputs")
    shown = np.array(table)
    np.testing.assert_array_equal(first, shown[0])
    np.testing.assert_array_equal(differ, np.bitwise_or.reduce(shown ^ shown[0], axis=0))
    print(f"{circuit.name}: seed {seed}, {np.count_nonzero(differ)} of {len(differ)} updates differ")
    more = rng.integers(0, 256, 100).astype(np.uint8)
    for state, lane in zip(lanes.save(), lanes.run_samples({"inputs": more}, "outputs"), strict=True):
        sim.restore(state)
        np.testing.assert_array_equal(sim.run_samples("inputs", more, "outputs"), lane)


@pytest.mark.parametrize("seed", range(sized(2, 6)))
def test_states_of_netlists_whose_clocks_differ_from_lane_to_lane(seed: int) -> None:
    print("seed", seed)
    rng = random.Random(seed)
    netlist = any_netlist(rng, ripple=True)
    if Compiled(netlist).plan.cuts:
        pytest.skip("loops keep what no register holds")
    sims = [Simulation(netlist, random.Random(f"{seed}/{lane}")) for lane in range(COUNT)]
    lanes = Lanes(netlist, COUNT)
    for _ in range(6):
        for _ in range(4):
            levels = {name: rng.getrandbits(width) for name, width in lanes.inputs.items()}
            for sim in sims:
                sim.set_many(levels)
                sim.settle()
        lanes.load([sim.snapshot() for sim in sims])
        for name, value in levels.items():
            lanes.set(name, value ^ 1)
        lanes.settle()
        for sim, state in zip(sims, lanes.save(), strict=True):
            sim.set_many({name: value ^ 1 for name, value in levels.items()})
            sim.settle()
            shown = {name: sim.get(name) for name in netlist.outputs}
            sim.restore(state)
            assert {name: sim.get(name) for name in netlist.outputs} == shown
        for name in netlist.outputs:
            assert lanes.get(name) == [sim.get(name) for sim in sims], name


def test_each_lane_needs_a_state() -> None:
    netlist = parse(rtlil(OnPins(CIRCUITS[0].design())))
    with pytest.raises(UsageError, match=r"^top: 2 states for 3 lanes; give one a lane$"):
        Lanes(netlist, 3).load([Simulation(netlist).snapshot()] * 2)
