"""Rows of a port put on one after another: ports and outputs of every width of an element, beside plain integers."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.netlist import Cell, Const, Register, Word


def accumulator(width: int, shown: int) -> Netlist:
    """A register that takes the sum of itself and the port whenever the port's lowest bit rises; the output shows its
    low bits."""
    port, state, total = Word.value(0, width), Word.value(1, width), Word.value(2, width)
    register = Register(1, width, port.bit(0), True, total, (), Const(0, width), "state")
    cells = (Cell("$add", 2, (port, state)),)
    return Netlist("sum", (width,) * 3, {"a": 0}, {"y": state.cut(0, shown)}, cells, (register,), ())


@pytest.mark.parametrize(("width", "shown"), [(1, 1), (9, 9), (16, 16), (32, 17), (33, 33), (64, 63)])
def test_a_port_of_any_width_is_taken_and_recorded_whole(width: int, shown: int) -> None:
    seed = 9
    print("seed", seed)
    rng = random.Random(seed)
    values = [rng.getrandbits(width) for _ in range(300)]
    sim = Simulation(accumulator(width, shown), 0)
    sim.settle()
    kind = np.dtype(f"u{next(size for size in (1, 2, 4, 8) if 8 * size >= width)}")
    found = sim.run_samples("a", np.array(values, kind), "y")
    before = state = 0
    for value, seen in zip(values, found.tolist(), strict=True):
        if value & 1 and not before & 1:
            state = state + value & (1 << width) - 1
        before = value
        assert seen == state & (1 << shown) - 1
    assert sim.get("y") == state & (1 << shown) - 1
