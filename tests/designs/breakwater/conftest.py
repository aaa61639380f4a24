"""Runs one design of the catalogue by name, a step at a time, on Forelight's own engine."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Protocol

import numpy as np
import pytest
from forelight.designs.sheets.reader import load
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.sim import Netlist, Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

DESIGNS = Path(__file__).parents[3] / "designs" / "breakwater"
SWITCHES = 0b0011_1111  # i0 to i5; i6 and i7 are the restart and the step line
STEP_BIT = 7


@cache
def netlist_of(name: str) -> Netlist:
    """A design in its wrapper: `inputs` and `outputs` of eight bits, the step and restart lines among the inputs."""
    return wrapper_netlist(load(DESIGNS / name))


@cache
def compiled(name: str) -> Compiled:
    """The machine code of a design, made once for all tests of a process."""
    return Compiled(netlist_of(name))


class Driven:
    """A design in its wrapper, inputs at rest at first; a reading is the eight outputs as one number."""

    def __init__(self, name: str, power_up: PowerUp = 0) -> None:
        self.datasheet = load(DESIGNS / name)
        self._simulation = Simulation(netlist_of(name), power_up, compiled=compiled(name))
        self._levels = self.datasheet.idle
        self.put(self._levels)

    @property
    def outputs(self) -> int:
        return self._simulation.get("outputs")

    def now(self) -> NDArray[np.uint8]:
        """The outputs as an array of one, to put before those of `steps`."""
        return np.array([self.outputs], np.uint8)

    def put(self, levels: int) -> None:
        """All eight inputs at one instant."""
        self._levels = levels
        self._simulation.set("inputs", levels)
        self._simulation.settle()

    def switch(self, levels: int) -> None:
        """i0 to i5 at one instant."""
        self.put(self._levels & ~SWITCHES | levels)

    def set(self, **lines: int) -> None:
        """Some lines by name at one instant, as in `set(i2=1)`."""
        levels = self._levels
        for line, level in lines.items():
            bit = 1 << int(line.removeprefix("i"))
            levels = levels | bit if level else levels & ~bit
        self.put(levels)

    def restart(self) -> None:
        """Two steps with the restart line active."""
        restart = self.datasheet.restart
        assert restart is not None
        active = int(restart.active == "high")
        self.set(**{restart.line: active})
        self.steps(2)
        self.set(**{restart.line: 1 - active})

    def steps(self, count: int) -> NDArray[np.uint8]:
        """The outputs after each of so many steps."""
        outputs = self._simulation.run_clock("inputs", bit=STEP_BIT, cycles=count, observe="outputs")
        return outputs.astype(np.uint8)

    def follow(self, switches: Sequence[int]) -> NDArray[np.uint8]:
        """The outputs after each of as many steps as there are levels of i0 to i5, which are set before the step."""
        rest = np.array([self._levels & ~SWITCHES | levels for levels in switches], np.uint8)
        inputs = np.column_stack([rest, rest | 1 << STEP_BIT, rest]).ravel()
        outputs = self._simulation.run_samples("inputs", inputs, "outputs")
        self.put(int(rest[-1]))
        return outputs[2::3].astype(np.uint8)

    def samples(self, count: int, high: int, low: int) -> NDArray[np.uint8]:
        """The outputs at `high + low` equal intervals of each of so many steps, which begin with the rise."""
        step = np.array([self._levels | 1 << STEP_BIT] * high + [self._levels] * low, np.uint8)
        outputs = self._simulation.run_samples("inputs", np.tile(step, count), "outputs")
        return outputs.astype(np.uint8)


class Drive(Protocol):
    """A design by name, powered up with every flip-flop at 0 unless something else is asked for."""

    def __call__(self, name: str, power_up: PowerUp = 0) -> Driven: ...


@pytest.fixture
def drive() -> Drive:
    return Driven
