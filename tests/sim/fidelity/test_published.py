"""Published netlists (ISCAS'85 and '89, from PyPI `circuitgraph`) against Icarus Verilog, 10,000 random steps each."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim import Simulation

from tests.sizes import sized

from ..icarus import needs_icarus
from .comparison import Design, compare, undefined_registers
from .stimulus import Drive, rows

circuitgraph = pytest.importorskip("circuitgraph", reason="the netlists come from PyPI: circuitgraph")

NETLISTS = Path(circuitgraph.__file__).parent / "netlists"
FLIP_FLOP = Path(__file__).parent / "published" / "flip_flop.v"
STEPS = sized(1_000, 10_000)
CIRCUITS = {
    **dict.fromkeys(("c17", "c432", "c499", "c880", "c1355", "c1908"), Drive()),
    **dict.fromkeys(("c2670", "c3540", "c5315", "c6288", "c7552"), Drive()),
    "s27": Drive(("clk",)),
    "s13207": Drive(("clock",)),
}


def sources(name: str) -> list[Path]:
    return [NETLISTS / f"{name}.v", *([FLIP_FLOP] if name == "s27" else [])]


@needs_icarus
@pytest.mark.parametrize("name", sized([*CIRCUITS][::3], [*CIRCUITS]))
def test_as_under_icarus(name: str, tmp_path: Path, seed: int, tallied: Callable[..., None]) -> None:
    netlist = read(sources(name), top=name)
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    driven = [dict(row) for row in rows(random.Random(seed), widths, CIRCUITS[name], STEPS)]
    design = Design(sources(name), name, cleared=undefined_registers(netlist))
    # Random inputs leave much of s13207 as it was.
    tallied(compare(netlist, design, driven, tmp_path), least_moved=0.3 if name == "s13207" else 0.9)


def test_c6288_multiplies(seed: int) -> None:
    """c6288 is a multiplier of 16 by 16 bits (Hansen, Yalcin, Hayes, Unveiling the ISCAS-85 Benchmarks, 1999)."""

    def by_number(names: list[str]) -> list[str]:
        return sorted(names, key=lambda name: int(re.sub(r"\D", "", name)))

    sim = Simulation(read(sources("c6288"), top="c6288"))
    inputs, outputs = by_number(list(sim.inputs)), by_number(list(sim.outputs))
    # The carry out of the array has a lower number than the sum beside it.
    outputs[-2:] = reversed(outputs[-2:])
    rng = random.Random(seed)
    for _ in range(200):
        a, b = rng.getrandbits(16), rng.getrandbits(16)
        both = a | b << 16
        sim.set_many({name: both >> place & 1 for place, name in enumerate(inputs)})
        sim.settle()
        assert sum(sim.get(name) << place for place, name in enumerate(outputs)) == a * b
