"""Lanes side by side, in lane-cycles a second: `python -m tests.benchmarks.lanes`; it writes nothing.

512 copies of a circuit wake up differently and run with constant inputs; after each cycle the outputs of every lane
are compared with those of lane 0, and what differed is gathered. Then the same with a stuck-at fault in every lane but
lane 0. Before it is timed, the comparison is checked against separate runs of a few lanes.

Beside it stands the same work as C (`lanes_c.py`), where gcc is installed: it tells what this machine is good for.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import statistics
from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time

import numpy as np
from forelight.sim import Netlist, Simulation
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.faults import Fault, collapsed
from forelight.sim.lanes.together import Together
from forelight.sim.lanes.variants import Lanes
from forelight.sim.rtlil.reader import parse
from rich.console import Console
from rich.table import Table

from .circuits import CIRCUITS, Circuit
from .design import CLOCK_BIT, OnPins, rtlil
from .lanes_c import LanesInC

LANES = 512
SEED = 7
#: Lane-cycles a second that the project wants: for the shift register, and for the multiplier with faults.
WANTED = {("lfsr", "power-ups"): 30e9, ("multiplier", "faults"): 3.5e9}


def with_power_ups(netlist: Netlist) -> Lanes:
    return Lanes(netlist, LANES, random.Random(SEED))


def with_faults(netlist: Netlist) -> Lanes:
    """Lane 0 is sound; the others have faults of different classes, or of fewer if there are not so many."""
    drawn = gates(netlist)
    classes = [members[0] for members in collapsed(drawn)]
    chosen: list[Fault] = random.Random(SEED).sample(classes, min(LANES - 1, len(classes)))
    while len(chosen) < LANES - 1:
        chosen += chosen[: LANES - 1 - len(chosen)]
    return Lanes(drawn, LANES, "init", faults=[None, *chosen])


def check(lanes: Lanes, netlist: Netlist, circuit: Circuit) -> None:
    """The lanes' outputs of the first cycles are those of separate runs, as far as lanes have no fault."""
    rng = random.Random(SEED)
    sims = [Simulation(netlist, "init" if lanes.netlist is not netlist else rng) for _ in range(3)]
    lanes.set("inputs", circuit.steady)
    found = lanes.run_clock("inputs", bit=CLOCK_BIT, cycles=500, observe="outputs")
    for lane, sim in enumerate(sims[: 3 if lanes.netlist is netlist else 1]):
        sim.set("inputs", circuit.steady)
        meant = sim.run_clock("inputs", bit=CLOCK_BIT, cycles=500, observe="outputs")
        assert np.array_equal(found[lane], meant), (
            f"{circuit.name}: lane {lane} differs from a run of its own"
        )


def rate(run: Callable[..., object], rounds: int, seconds: float) -> float:
    """Lane-cycles a second, the median of some rounds; `run` is told the `cycles`."""

    def took(cycles: int) -> float:
        start = process_time()
        run(cycles=cycles)
        return process_time() - start

    cycles = 1 << 16  # a long run, for which code is made for the very levels of the inputs
    took(cycles)
    while took(cycles) < seconds / 2:
        cycles *= 2
    return statistics.median(LANES * cycles / took(cycles) for _ in range(rounds))


def in_c(lanes: Lanes, inputs: int, folder: Path) -> Callable[..., object]:
    """The same lanes as C, from the same start; checked against them."""
    engine = lanes._engine
    assert isinstance(engine, Together)
    states = [engine.state.read(place) for place in engine.places.registers]
    run = partial(LanesInC(engine.widened, inputs, CLOCK_BIT, folder).run, states)
    meant = lanes.differs_in_clock("inputs", bit=CLOCK_BIT, cycles=1000)
    found = run(cycles=1000)
    assert [found >> lane & 1 for lane in range(LANES)] == meant.tolist(), "C finds other lanes that differ"
    return run


def main() -> int:
    names = [circuit.name for circuit in CIRCUITS]
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.lanes", description=__doc__)
    parser.add_argument(
        "circuits", nargs="*", metavar="CIRCUIT", help=f"some of {', '.join(names)}; all without"
    )
    parser.add_argument("--rounds", type=int, default=5, help="rounds of which the median is taken (5)")
    parser.add_argument("--seconds", type=float, default=0.2, help="length of one measurement (0.2)")
    arguments = parser.parse_args()
    before = os.getloadavg()[0]
    table = Table(
        "circuit", "variants", "gates", "seconds to build", "million lane-cycles a second", "wanted", "as C"
    )
    for circuit in CIRCUITS:
        if circuit.name not in (arguments.circuits or names):
            continue
        netlist = parse(rtlil(OnPins(circuit.design())))
        count = len(gates(netlist).cells)
        for variants, make in (("power-ups", with_power_ups), ("faults", with_faults)):
            start = process_time()
            lanes = make(netlist)
            lanes.set("inputs", circuit.steady)
            lanes.differs_in_clock("inputs", bit=CLOCK_BIT, cycles=1 << 15)
            built = process_time() - start
            lanes = make(netlist)
            check(lanes, netlist, circuit)
            by_engine = partial(lanes.differs_in_clock, "inputs", bit=CLOCK_BIT)
            found = rate(by_engine, arguments.rounds, arguments.seconds)
            wanted = WANTED.get((circuit.name, variants))
            as_c = "gcc is not installed"
            if shutil.which("gcc"):
                with TemporaryDirectory() as folder:
                    other = make(netlist)
                    other.set("inputs", circuit.steady)
                    run = in_c(other, circuit.steady, Path(folder))
                    as_c = f"{rate(run, arguments.rounds, arguments.seconds) / 1e6:,.0f}"
            table.add_row(
                circuit.name,
                variants,
                str(count),
                f"{built:.2f}",
                f"{found / 1e6:,.0f}",
                f"{wanted / 1e6:,.0f}" if wanted else "",
                as_c,
            )
    console = Console()
    console.print(table)
    console.print(
        f"{LANES} lanes, processor seconds, one core of {os.cpu_count()}, load average {before:.1f} before and "
        f"{os.getloadavg()[0]:.1f} after; medians of {arguments.rounds} rounds of {arguments.seconds} s. Seed {SEED}."
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
