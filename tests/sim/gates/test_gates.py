"""Netlists of one-bit gates do what the word-level netlists do that they were made from."""

from __future__ import annotations

import random

import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.gates.memories import is_kept
from forelight.sim.gates.rewrite import are_gates, gates
from forelight.sim.kinds import PORTS
from forelight.sim.loops import LoopError
from forelight.sim.reference import Reference
from forelight.sim.state import PowerUp
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.sizes import sized

from ..any_netlists import any_netlist
from ..test_cells import Bench, Draw, edgy, expected

HEAVY = ("$mul", "$div", "$mod", "$divfloor", "$modfloor", "$pow")
CELLS, VECTORS = sized(2, 4), 12


class Small(Draw):
    """Cells of sizes at which a multiplier, and a power even more so, is not too many gates."""

    most = 70

    def width(self) -> int:
        return int(self.draw(st.one_of(st.integers(0, min(9, self.most)), st.integers(0, self.most))))


@st.composite
def small_benches(draw: st.DrawFn, kind: str) -> Bench:
    drawn = Small(draw)
    drawn.most = 4 if kind == "$pow" else 12 if kind in HEAVY else 70
    for _ in range(CELLS):
        drawn.cell(kind)
    return drawn.bench


@pytest.mark.parametrize("as_drawn", [False, True], ids=["shared", "as drawn"])
@pytest.mark.parametrize("kind", [*PORTS, "case", "read"])
@settings(
    max_examples=sized(2, 8),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(data=st.data(), seed=st.integers(0, 1 << 32))
def test_cells(kind: str, as_drawn: bool, data: st.DataObject, seed: int) -> None:
    bench = data.draw(small_benches(kind))
    rng = random.Random(seed)
    drawn = gates(bench.netlist(), as_drawn=as_drawn)
    assert are_gates(drawn)
    assert not drawn.memories
    sim = Reference(drawn)
    for _ in range(VECTORS):
        values = {number: edgy(rng, bench.widths[number]) for number in bench.inputs.values()}
        for name, number in bench.inputs.items():
            sim.set(name, values[number])
        sim.settle()
        for cell in bench.cells:
            assert sim.get(f"o{cell.output}") == expected(bench, cell, values), cell


def same_run(
    first: Netlist, second: Netlist, power_up: PowerUp, rng: random.Random, updates: int = 60
) -> None:
    """Both netlists show the same at every port and name after every update, or both find no rest."""
    one, other = Simulation(first, power_up), Simulation(second, power_up)
    for _ in range(updates):
        values = {name: rng.getrandbits(width) for name, width in one.inputs.items() if rng.random() < 0.6}
        for sim in (one, other):
            sim.set_many(values)
        try:
            one.settle()
        except LoopError:
            with pytest.raises(LoopError):
                other.settle()
            return
        other.settle()
        for name in (*first.outputs, *first.names):
            assert one.get(name) == other.get(name), name


@pytest.mark.parametrize("as_drawn", [False, True], ids=["shared", "as drawn"])
@pytest.mark.parametrize("seed", range(sized(1, 12)))
def test_whole_netlists(seed: int, as_drawn: bool) -> None:
    print("seed", seed)
    rng = random.Random(seed)
    netlist = any_netlist(rng)
    drawn = gates(netlist, as_drawn=as_drawn)
    assert are_gates(drawn)
    assert {m.name for m in drawn.memories} == {m.name for m in netlist.memories if is_kept(m)}
    assert {n: drawn.widths[v] for n, v in drawn.inputs.items()} == {
        n: netlist.widths[v] for n, v in netlist.inputs.items()
    }
    for power_up in (0, 1, "init"):
        same_run(netlist, drawn, power_up, random.Random(seed))
