"""Which input lines keep a design still: each that alone, at its other level, would let the steps move an output."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from forelight.sim.simulation import Simulation

#: Steps that are tried with each line; what takes longer to move is not found to be held by that line.
TRIED = 64
#: Steps after which a design that has not moved is taken to be held.
PATIENCE = 1 << 18


def holders(
    simulation: Simulation,
    state: bytes,
    inputs: int,
    step: int | None,
    lines: Iterable[int],
) -> tuple[int, ...]:
    """Of `lines` (bits of the port `inputs`) those that hold a design in `state`, at these `inputs`.

    `step` is the bit of its step line. Empty where it moves by itself, where no one line is enough, and for plain
    logic, which moves only with its inputs. The simulation is left in `state`.
    """
    if step is None or _changes(simulation, state, inputs, step, PATIENCE):
        return ()
    found = tuple(
        line
        for line in lines
        if line != step and _changes(simulation, state, inputs ^ 1 << line, step, TRIED) > 1
    )
    simulation.restore(state)
    return found


def _changes(simulation: Simulation, state: bytes, inputs: int, step: int, steps: int) -> int:
    """How often the outputs change over so many steps, once these inputs have been taken up."""
    simulation.restore(state)
    level = inputs & ~(1 << step)
    rows = np.full(2 * steps + 1, level, np.uint16)
    rows[1::2] |= np.uint16(1 << step)
    shown = simulation.run_samples("inputs", rows, "outputs")
    simulation.restore(state)
    return int(np.count_nonzero(shown[1:] != shown[:-1]))
