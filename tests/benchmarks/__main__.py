"""Measures the engines on six circuits and prints tables: `python -m tests.benchmarks`; it writes nothing."""

from __future__ import annotations

import argparse
import os
import random
import tempfile
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.progress import Progress

from .build import FAST, MAKERS, Maker, Workshop
from .circuits import CIRCUITS, Circuit
from .design import CLOCK_BIT, RESET_BIT
from .engines import BLOCK
from .latency import first_cycles, processes
from .measure import Effort, Result, clocked, sampled
from .report import comparison, latency_table, rate_table, ratio_table

SEED = 5
HEADINGS = {
    "cycles": "Constant inputs",
    "samples": "New inputs at every sample, the clock among them, two samples a cycle",
}


def stimulus() -> bytes:
    """A new byte at every sample: the clock toggles, a reset comes once in a while, all else is random."""
    choice = random.Random(SEED)
    return bytes(
        choice.getrandbits(6) | (choice.random() < 1 / 2048) << RESET_BIT | (number & 1) << CLOCK_BIT
        for number in range(BLOCK)
    )


def measure(
    makers: Sequence[Maker], circuits: Sequence[Circuit], effort: Effort
) -> tuple[list[Result], list[Result]]:
    """Build, go to one core, and measure: the results of the clocked and of the sampled runs."""
    # No refreshing in the background: it would share the core with what is measured.
    progress = Progress(console=Console(stderr=True), transient=True, auto_refresh=False)
    with tempfile.TemporaryDirectory() as name, progress:
        folder = Path(name)
        os.environ["FORELIGHT_CACHE"] = f"{folder}/cache"
        task = progress.add_task("building", total=2 * len(circuits) + 1)
        progress.refresh()
        workshop = Workshop(folder)
        workshop.build(makers, [circuit.name for circuit in circuits])
        (folder / "stimulus").write_bytes(stimulus())
        if hasattr(os, "sched_setaffinity"):
            os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
        steady, varied = [], []
        for circuit in circuits:
            progress.update(task, advance=1, description=f"{circuit.name}, steady inputs", refresh=True)
            steady.append(clocked(workshop, makers, circuit, effort))
        for circuit in circuits:
            progress.update(task, advance=1, description=f"{circuit.name}, new inputs", refresh=True)
            varied.append(sampled(workshop, makers, circuit, folder / "stimulus", effort))
    return steady, varied


def main() -> int:
    names = [circuit.name for circuit in CIRCUITS]
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument(
        "circuits", nargs="*", metavar="CIRCUIT", help=f"some of {', '.join(names)}; all without"
    )
    parser.add_argument(
        "--rounds", type=int, default=3, help="interleaved rounds, of which medians are taken (3)"
    )
    parser.add_argument("--seconds", type=float, default=0.2, help="length of one measurement (0.2)")
    arguments = parser.parse_args()
    chosen = arguments.circuits or names
    if not set(chosen) <= set(names):
        parser.error(f"no circuit is called {', '.join(sorted(set(chosen) - set(names)))}")
    circuits = [circuit for circuit in CIRCUITS if circuit.name in chosen]
    makers = [maker for maker in MAKERS if maker.missing() is None]
    console = Console()
    console.width = max(console.width, 120)

    cores, before = os.cpu_count(), os.getloadavg()[0]
    steady, varied = measure(makers, circuits, Effort(arguments.rounds, arguments.seconds))
    for title, results in (("cycles", steady), ("samples", varied)):
        console.print(f"\n{HEADINGS[title]}, millions of {title} a second")
        console.print(rate_table(results))
        console.print("Forelight's rate over the other's")
        console.print(ratio_table(results))
    console.print("\nWaiting for Forelight, milliseconds: whole processes, and in a running one")
    console.print(latency_table([*processes(), *first_cycles(circuits)]))
    console.print(
        f"One core of a {cores}-core machine; load average {before:.1f} before, {os.getloadavg()[0]:.1f} after. "
        f"Medians of {arguments.rounds} interleaved rounds of {arguments.seconds} s; seconds are of processor time. "
        "One byte recorded each time into a reused buffer. Compiling is not counted. "
        f"C and C++ with {' '.join(FAST)}. Seed of the inputs: {SEED}."
    )
    for maker in MAKERS:
        if maker not in makers:
            console.print(f"Not measured: {maker.name} ({maker.missing()}).")
    for title, results in (("cycles", steady), ("samples", varied)):
        for line in comparison(results):
            console.print(f"{title} of {line}.")
    return 1 if any(result.differing for result in [*steady, *varied]) else 0


if __name__ == "__main__":
    raise SystemExit(main())
