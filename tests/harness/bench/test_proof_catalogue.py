"""No power-up and no order of racing lines contradicts what is proved of the designs of the catalogue."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.designs.catalogue import load_design, names
from forelight.harness.bench.kept import carrier
from forelight.harness.bench.powerups import sampled_power_ups
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.hand.routine import run_procedure
from forelight.sim.loops import LoopError
from forelight.sim.simulation import Simulation
from numpy.typing import NDArray

from tests.sizes import sized

from .whole_runs import prove

BOARDS = [load_board(name) for name in ("quay", "mole")]
#: The first updates of each run, and as many after them in which lines move by chance, some together.
PLANNED, SHAKEN = 300, 60
#: Power-ups that begin, and states that are followed on from an update.
POWER_UPS, STATES = 300, 40


def lines_of(name: str, run: str) -> NDArray[np.uint16]:
    """What comes to the design's inputs in a run of its datasheet, change by change."""
    sheet = load_design(name)
    board = carrier(sheet, BOARDS)
    inputs = predict(board, sheet, run_procedure(board, sheet, run), slot=0, power_ups=1).inputs
    return inputs[np.flatnonzero(np.diff(inputs, prepend=np.uint8(0)))].astype(np.uint16)


def shaken(rng: random.Random, now: int) -> list[int]:
    """Mostly one line at a time, and two or three at every fourth update."""
    found = []
    for step in range(SHAKEN):
        for bit in rng.sample(range(8), rng.randint(2, 3) if step % 4 == 3 else 1):
            now ^= 1 << bit
        found.append(now)
    return found


@pytest.mark.parametrize("name", names()[:: sized(4, 1)])
def test_no_power_up_and_no_order_contradicts(name: str) -> None:
    for run in load_design(name).runs:
        seed = f"{name} {run.name}"
        print("seed", seed)
        rng = random.Random(seed)
        planned = lines_of(name, run.name)[:PLANNED]
        last = int(planned[-1]) if len(planned) else 0
        hold(name, np.concatenate((planned, np.array(shaken(rng, last), np.uint16))), rng)


def hold(name: str, values: NDArray[np.uint16], rng: random.Random) -> None:
    """Run from every power-up, the lines of each update one after another, in a new order for each state."""
    netlist = wrapper_netlist(load_design(name))
    claims = prove(netlist, values).bits
    sim, states = Simulation(netlist), set()
    for power_up in sampled_power_ups(POWER_UPS, rng.getrandbits(32)):
        sim.power_cycle(power_up)
        try:
            sim.settle()
        except LoopError:  # a ring that runs from the start
            continue
        states.add(sim.snapshot())
    before = 0
    for number, value in enumerate(values.tolist()):
        moved = [bit for bit in range(8) if (before ^ value) >> bit & 1]
        shown, after = set(), set()
        for state in sorted(states):
            # At one instant as well where that is another way.
            for order in [rng.sample(moved, len(moved)), *([None] if len(moved) > 1 else [])]:
                sim.restore(state)
                try:
                    take(sim, before, value, order)
                except LoopError:  # it runs free, and says nothing from then on
                    continue
                shown.add(sim.get("outputs"))
                after.add(sim.snapshot())
        proved = int(claims[number + 1])
        assert len({found & proved for found in shown}) < 2, (number, f"{before:08b} to {value:08b}")
        states, before = set(rng.sample(sorted(after), min(len(after), STATES))), value


def take(sim: Simulation, before: int, after: int, order: list[int] | None) -> None:
    """One update, its lines one after another in an order, or all at one instant."""
    if order is None:
        sim.set("inputs", after)
        sim.settle()
        return
    for bit in order:
        before ^= 1 << bit
        sim.set("inputs", before)
        sim.settle()
