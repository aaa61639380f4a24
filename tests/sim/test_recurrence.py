"""A run that comes back to a state gives the same as without a look for it: rows, and the state at the end."""

from __future__ import annotations

import random
from unittest.mock import patch

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.netlist import Cell, Const, Register, Slice, Word
from forelight.sim.recurrence import periods, recurring_samples
from hypothesis import given
from hypothesis import strategies as st

from tests.sizes import sized

from .random_netlists import random_netlist

ROWS = 60_000


def counter(modulus: int, width: int = 16, shown: int = 8) -> Netlist:
    """Counts rises of bit 0 of `inputs` up to modulus - 1 and begins anew, but stands still while bit 1 is 1."""
    count = Word.value(1, width)
    cells = (
        Cell("$add", 2, (count, Word.const(1, width))),
        Cell("$eq", 3, (count, Word.const(modulus - 1, width))),
        Cell("$mux", 4, (Word.value(2, width), Word.const(0, width), Word.value(3, 1))),
        Cell("$mux", 5, (Word.value(4, width), count, Word.of([Slice(0, 1, 1)]))),
    )
    clock = Word.of([Slice(0, 0, 1)])
    register = Register(1, width, clock, True, Word.value(5, width), (), Const(0, width), "count")
    widths = (2, width, width, 1, width, width)
    return Netlist("counter", widths, {"inputs": 0}, {"outputs": count.cut(0, shown)}, cells, (register,), ())


def clocked(rows: int, irregular: int = 0) -> np.ndarray[tuple[int], np.dtype[np.uint8]]:
    values = (np.arange(rows) & 1).astype(np.uint8)
    values[:irregular] = np.random.default_rng(irregular).integers(0, 4, irregular)
    return values


@pytest.mark.parametrize("modulus", [1, 2, 3, 100, 777, 2048, 2500, 40_000])
@pytest.mark.parametrize("shown", [1, 8, 16])
@pytest.mark.parametrize("irregular", [0, 501])
def test_a_counter_by_its_own_arithmetic(modulus: int, shown: int, irregular: int) -> None:
    netlist, values = counter(modulus, shown=shown), clocked(ROWS + 1, irregular)
    before = np.concatenate((np.zeros(1, np.uint8), values[:-1]))
    counted = (values & ~before & 1).astype(bool) & (values & 2 == 0)
    counted[0] = False  # the first settling makes no edges
    expected = np.cumsum(counted) % modulus & (1 << shown) - 1
    sim = Simulation(netlist)
    assert np.array_equal(recurring_samples(sim, "inputs", values, "outputs"), expected)
    assert sim.get("outputs") == expected[-1]
    sim.set("inputs", int(values[-1]) ^ 1)
    sim.settle()
    later = np.cumsum(counted)[-1] + (not values[-1] & 1 and not values[-1] & 2)
    assert sim.get("outputs") == later % modulus & (1 << shown) - 1


def test_what_comes_back_is_not_run_again() -> None:
    sim, rows = Simulation(counter(100)), []
    run = Simulation.run_samples

    def counting(self: Simulation, port: str, values: np.ndarray, observe: str) -> np.ndarray:
        rows.append(len(values))
        return run(self, port, values, observe)

    with patch.object(Simulation, "run_samples", counting):
        recurring_samples(sim, "inputs", clocked(10**6), "outputs")
    assert sum(rows) < 10_000


@pytest.mark.parametrize("seed", range(sized(6, 12)))
def test_random_netlists(seed: int) -> None:
    print("seed", seed)
    netlist = random_netlist(seed, registers=4, cells=10)
    rng = random.Random(seed)
    plain, recurring = Simulation(netlist, power_up=1), Simulation(netlist, power_up=1)
    for sim in (plain, recurring):
        sim.set("data", rng.getrandbits(12) if sim is plain else plain.get("data"))
        sim.settle()
    values = clocked(ROWS)
    for observe in netlist.outputs:
        shown = plain.run_samples("clk", values, observe)
        assert np.array_equal(shown, recurring_samples(recurring, "clk", values, observe))
        assert plain.snapshot() == recurring.snapshot()


@given(
    st.lists(st.integers(0, 2), max_size=4),
    st.lists(st.integers(0, 2), min_size=1, max_size=5),
    st.integers(0, 20),
)
def test_periods_of_rows_by_their_definition(head: list[int], loop: list[int], more: int) -> None:
    rows = np.array(head + [loop[at % len(loop)] for at in range(more + 1)])
    for rounds in (1, 2, 3):
        expected = []
        for length in range(1, len(rows)):
            first = len(rows) - length
            while first and rows[first - 1] == rows[first - 1 + length]:
                first -= 1
            if first < len(rows) - length and len(rows) - first >= rounds * length:
                expected.append((length, first))
        assert list(periods(rows, rounds)) == expected
