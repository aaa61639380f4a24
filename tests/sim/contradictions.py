"""Runs a small random netlist from many power-ups, lines in every order, and holds its proof to what they show."""

from __future__ import annotations

import random
from itertools import permutations

from forelight.sim import Netlist, Simulation
from forelight.sim.errors import LoopError
from forelight.sim.state import PowerUp
from forelight.sim.ternary import MOST_CELLS, Proof

from .unclocked_netlists import LINES, unclocked_netlist


def never_contradicted(seed: int, *, in_rounds: bool = False, most_cells: int = MOST_CELLS) -> int:
    """30 updates of a netlist, every order of up to three lines, from up to 8 of the states that are found.

    Returns how many bits were called known.
    """
    rng = random.Random(f"unclocked {seed}")
    netlist = unclocked_netlist(rng)
    known_start = seed % 2 == 1
    proof = Proof(netlist, known_start=known_start, in_rounds=in_rounds, most_cells=most_cells)
    assert proof.in_rounds or not proof.left_open or not proof.settled
    proof.update({"inputs": 0})
    sim, now, claims = Simulation(netlist), 0, 0
    try:
        states = _woken(netlist, known_start, rng)
        for step in range(30):
            moving = rng.sample(range(LINES), rng.randint(2, 3) if step % 4 == 3 else 1)
            for bit in moving:
                now ^= 1 << bit
            proof.update({"inputs": now})
            value, known = proof.get("outputs")
            claims += known.bit_count()
            after: dict[tuple[object, ...], bytes] = {}
            for state in states:
                for order in permutations(moving):
                    sim.restore(state)
                    for bit in order:
                        sim.set("inputs", sim.get("inputs") ^ 1 << bit)
                        sim.settle()
                    assert (sim.get("outputs") ^ value) & known == 0, (step, order)
                    after[_held(sim)] = sim.snapshot()
            assert len(after) == 1 or not proof.settled
            states = rng.sample(list(after.values()), min(len(after), 8))
    except LoopError:  # there is no order to compare with
        pass
    return claims


def _woken(netlist: Netlist, known_start: bool, rng: random.Random) -> list[bytes]:
    """Snapshots after power-up and one settling."""
    starts: list[PowerUp] = [0, 1, *(random.Random(rng.getrandbits(32)) for _ in range(10))]
    if known_start:
        starts = ["init"]
    found = []
    for start in starts:
        sim = Simulation(netlist, start)
        sim.settle()
        found.append(sim.snapshot())
    return found


def _held(sim: Simulation) -> tuple[object, ...]:
    memories = (tuple(sim.peek_memory(memory.name)) for memory in sim.netlist.memories)
    return (*(sim.get(name) for name in sim.netlist.names), *memories)
