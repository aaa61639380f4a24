"""A survey of 1000 slots and 10,000 tries: how long each answer takes, as whole commands.

`python -m tests.benchmarks.survey` prints a table: milliseconds, and how many times as long as `forelight --help`.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from rich.console import Console
from rich.table import Table

from tests.harness.survey.books import large, profile

SLOTS, TRIES, SEED, ROUNDS = 1000, 10_000, 5, 5
COMMANDS = (
    "--help",
    "survey pier.survey",
    "survey pier.survey 17",
    "survey next pier.survey",
    "survey next empty.survey --board pier.toml",
    "survey next empty.survey --board pier.toml --tries 1000",
    "survey report pier.survey -o pier.html",
    "survey report pier.survey -o pier.csv",
    "survey merge pier.survey copy.survey",
    "survey merge new.survey copy.survey",
)


def taken(command: str) -> tuple[float, float]:
    """Seconds of the clock and of the processor for one command."""
    Path("new.survey").unlink(missing_ok=True)
    main = "from forelight.harness.cli import main; main()"
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run([sys.executable, "-c", main, *command.split()], capture_output=True, check=False)
    lasted, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    assert done.returncode in (0, 1), done.stderr.decode()
    return lasted, after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def main() -> None:
    before = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as name:
        os.chdir(name)
        large(Path("pier.survey"), profile(Path(), SLOTS), SLOTS, TRIES, SEED)
        shutil.copy("pier.survey", "copy.survey")
        Path("empty.survey").touch()
        rounds = [[taken(command) for command in COMMANDS] for _ in range(ROUNDS)]
        size = Path("pier.survey").stat().st_size / 2**20
    table = Table("command", "ms", "ms of a processor", "times --help")
    columns = [tuple(zip(*one, strict=True)) for one in zip(*rounds, strict=True)]
    least = min(columns[0][1])
    for command, (clock, work) in zip(COMMANDS, columns, strict=True):
        cells = (1000 * median(clock), 1000 * min(work), min(work) / least)
        table.add_row(command, f"{cells[0]:.0f}", f"{cells[1]:.0f}", f"{cells[2]:.1f}")
    Console().print(table)
    print(
        f"{SLOTS} slots, {TRIES} tries, {size:.1f} MiB, seed {SEED}; medians of the clock and least processor time of "
        f"{ROUNDS} rounds; {os.cpu_count()} cores, load {before:.1f} before and {os.getloadavg()[0]:.1f} after."
    )


if __name__ == "__main__":
    main()
