"""Runs one netlist from many power-ups side by side and says where they agree."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from forelight.sim.netlist import Const, Netlist, Word
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

#: Values that are run in one call: at first, and at most (the number doubles in between). Power-ups that have
#: come to the same state are run as one from the next call on.
_FIRST = 64
_LONGEST = 1 << 18


@dataclass(frozen=True)
class Answer:
    """Outputs of the first power-up, and a mask of the bits on which all agree, after each update.

    Element 0 is the state after power-up, before the first update; so there is one element more than updates.
    """

    outputs: NDArray[np.uint8]
    agreed: NDArray[np.uint8]


def sampled_power_ups(count: int, seed: int) -> list[PowerUp]:
    """All zero, all one, the declared initial values, and then random ones; good for one run."""
    fixed: list[PowerUp] = [0, 1, "init"]
    return fixed[:count] + [random.Random(f"{seed}/{number}") for number in range(count - len(fixed))]


def run_power_ups(
    simulation: Simulation,
    values: NDArray[np.unsignedinteger[Any]],
    power_ups: Iterable[PowerUp],
    progress: Callable[[int], None] = lambda done: None,
) -> Answer:
    """One update of the port `inputs` for each of `values`, from each of the power-ups with inputs at 0.

    `progress` is told how many values have been run.
    """
    outputs = np.empty(len(values) + 1, np.uint8)
    differ = np.zeros(len(values) + 1, np.uint8)
    states: dict[bytes, None] = {}  # the distinct ones; the first stays first
    for number, power_up in enumerate(power_ups):
        simulation.restart(power_up)
        simulation.settle()
        found = simulation.get("outputs")
        if number == 0:
            outputs[0] = found
        differ[0] |= found ^ int(outputs[0])
        states[simulation.snapshot()] = None
    start, length = 0, _FIRST
    while start < len(values):
        part = slice(start + 1, min(start + length, len(values)) + 1)
        before, states = states, {}
        for number, state in enumerate(before):
            simulation.restore(state)
            answer = simulation.run_samples("inputs", values[part.start - 1 : part.stop - 1], "outputs")
            if number == 0:
                outputs[part] = answer
            else:
                differ[part] |= answer ^ outputs[part]
            states[simulation.snapshot()] = None
        start, length = part.stop - 1, min(2 * length, _LONGEST)
        progress(start)
    return Answer(outputs, ~differ)


def proved(netlist: Netlist) -> int:
    """Mask of the output bits on which power-ups cannot differ: nothing before them holds state, no loop, no x."""
    inputs = set(netlist.inputs.values())
    pure = set(inputs)
    written = {number for number, memory in enumerate(netlist.memories) if memory.writes}
    waiting: dict[int, list[int]] = {}  # value -> cells that wait for it
    missing: dict[int, int] = {}
    ready: list[int] = []
    for index, cell in enumerate(netlist.cells):
        if cell.kind == "read" and cell.int_param("memory") in written:
            continue
        if any(_undefined(word) for word in cell.operands):
            continue
        needs = {value for word in cell.operands for value in word.values()} - inputs
        missing[index] = len(needs)
        for value in needs:
            waiting.setdefault(value, []).append(index)
        if not needs:
            ready.append(index)
    while ready:
        value = netlist.cells[ready.pop()].output
        pure.add(value)
        for index in waiting.get(value, ()):
            missing[index] -= 1
            if not missing[index]:
                ready.append(index)
    bits = netlist.outputs["outputs"].bits()
    return sum(1 << n for n, bit in enumerate(bits) if not _undefined(bit) and pure.issuperset(bit.values()))


def _undefined(word: Word) -> bool:
    return any(isinstance(part, Const) and part.undefined for part in word.parts)
