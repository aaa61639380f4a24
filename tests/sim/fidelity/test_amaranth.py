"""Amaranth circuits of many kinds against `amaranth.sim`, 10,000 random steps each."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from forelight.sim import Simulation

from tests.sizes import sized

from .amaranth_bench import Bench
from .amaranth_circuits import CIRCUITS
from .comparison import flip_flops, tally, under_forelight
from .stimulus import rows

STEPS = sized(1_500, 10_000)


@pytest.mark.parametrize("name", CIRCUITS)
def test_as_under_amaranth(name: str, seed: int, tallied: Callable[..., None]) -> None:
    bench = Bench()
    CIRCUITS[name].build(bench)
    netlist = bench.netlist()
    sim = Simulation(netlist, power_up="init")
    driven = [dict(row) for row in rows(random.Random(seed), sim.inputs, CIRCUITS[name].drive(), STEPS)]
    ours, theirs = under_forelight(sim, driven), bench.under_amaranth(driven)
    wrong = np.argwhere(ours != theirs)
    if len(wrong):
        at = int(wrong[0][0])
        raise AssertionError(
            f"{name}: {len(wrong)} bits differ, first at row {at}: amaranth.sim {theirs[at].tobytes().decode()}, "
            f"Forelight {ours[at].tobytes().decode()} of {list(sim.outputs.items())}, inputs {driven[at - 2 : at + 1]}"
        )
    tallied(tally(name, netlist, ours, ours == theirs))


def test_the_suite_is_as_large_as_it_should_be() -> None:
    sizes = []
    for circuit in CIRCUITS.values():
        bench = Bench()
        circuit.build(bench)
        sizes.append(flip_flops(bench.netlist()))
    large = sum(size >= 20 for size in sizes)
    print(f"{len(sizes)} circuits, {large} of them with 20 flip-flops or more")
    assert len(sizes) >= 12
    assert 2 * large >= len(sizes)
