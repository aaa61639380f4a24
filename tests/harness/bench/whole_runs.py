"""A run in one go from power-up: what power-ups answer, and what is proved."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from forelight.harness.bench.powerups import Answer, Sample
from forelight.harness.bench.proof import Prover, minded_lines, races
from forelight.sim import Simulation
from forelight.sim.netlist import Netlist
from forelight.sim.proof.ternary import Proof, worth_following
from forelight.sim.state import PowerUp
from numpy.typing import NDArray


def run_power_ups(
    simulation: Simulation,
    values: NDArray[Any],
    power_ups: Iterable[PowerUp],
    seed: int = 0,
    progress: Callable[[int], None] = lambda done: None,
) -> Answer:
    sample = Sample(simulation, power_ups, seed, len(values))
    sample.extend(values, progress)
    return sample.answer()


def prove(netlist: Netlist, values: NDArray[Any]) -> Prover:
    prover = Prover(Proof(netlist, most_cells=worth_following(len(values))))
    prover.extend(values)
    return prover


def racing(netlist: Netlist, values: NDArray[Any]) -> list[int]:
    """The updates that are races, all lines at 0 before the first."""
    found: list[int] = races(np.asarray(values), 0, minded_lines(netlist)).tolist()
    return found
