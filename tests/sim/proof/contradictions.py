"""Runs a small random netlist from many power-ups, lines in every order, and holds its proof to what they show."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import accumulate, permutations
from operator import xor

from forelight.sim import Netlist, Simulation
from forelight.sim.loops import LoopError
from forelight.sim.proof.ternary import MOST_CELLS, Proof
from forelight.sim.state import PowerUp

from ..unclocked_netlists import LINES, unclocked_netlist


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
    states = _woken(netlist, known_start, rng)
    for step in range(30):
        before, moving = now, rng.sample(range(LINES), rng.randint(2, 3) if step % 4 == 3 else 1)
        for bit in moving:
            now ^= 1 << bit
        proof.update({"inputs": now})
        value, known = proof.get("outputs")
        claims += known.bit_count()
        after: dict[tuple[object, ...], bytes] = {}
        for state in states:
            for order in permutations(moving):
                sim.restore(state)
                if not _taken(sim, list(accumulate((1 << bit for bit in order), xor, initial=before))):
                    return claims
                assert (sim.get("outputs") ^ value) & known == 0, (step, order)
                after[held(sim)] = sim.snapshot()
        assert len(after) < 2 or not proof.settled
        states = rng.sample(list(after.values()), min(len(after), 8))
    return claims


def _taken(sim: Simulation, values: Sequence[int]) -> bool:
    """One update for each of the values of the lines; whether all comes to rest."""
    try:
        for value in values:
            sim.set("inputs", value)
            sim.settle()
    except LoopError:
        return False
    return True


def _woken(netlist: Netlist, known_start: bool, rng: random.Random) -> list[bytes]:
    """Snapshots after power-up and one settling; none where that does not come to rest."""
    starts: list[PowerUp] = [0, 1, *(random.Random(rng.getrandbits(32)) for _ in range(10))]
    if known_start:
        starts = ["init"]
    found = []
    for start in starts:
        sim = Simulation(netlist, start)
        if not _taken(sim, [0]):
            return []
        found.append(sim.snapshot())
    return found


def held(sim: Simulation) -> tuple[object, ...]:
    """All names and memories: a snapshot has more, such as what was written outside of a memory."""
    memories = (tuple(sim.peek_memory(memory.name)) for memory in sim.netlist.memories)
    return (*(sim.get(name) for name in sim.netlist.names), *memories)
