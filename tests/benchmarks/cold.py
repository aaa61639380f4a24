"""What a fresh process takes for its first answer, over what it takes to import the libraries beneath it.

`python -m tests.benchmarks.cold` prints a table: once with nothing kept from earlier runs, once with the netlist and
the machine code kept. The least processor time of several rounds, interleaved.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

LIBRARIES = "import numpy, rich, click, llvmlite"
MAIN = "from forelight.harness.cli import main; main()"
COMMANDS = ("show", "golden", "card")
SLOT, ROUNDS = "tide_gauge", 7


def processor_s(code: str, arguments: Sequence[str], cache: Path) -> float:
    """Processor seconds of one process, its children included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    environment = {**os.environ, "FORELIGHT_CACHE": str(cache)}
    command = [sys.executable, "-c", code, *arguments]
    subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def table() -> list[str]:
    """A row for each command: processor milliseconds and the ratio, with nothing kept and with all kept."""
    rows = ["| command | nothing kept | kept | kept, over the imports |", "|---|---|---|---|"]
    with tempfile.TemporaryDirectory() as name:
        kept = Path(name) / "kept"
        least: dict[tuple[str, bool], float] = {}
        imports = processor_s(LIBRARIES, (), kept)
        for turn in range(ROUNDS):
            imports = min(imports, processor_s(LIBRARIES, (), kept))
            for command in COMMANDS:
                for fresh in (True, False):
                    cache = Path(name) / f"{command}-{turn}" if fresh else kept
                    spent = processor_s(MAIN, (command, SLOT), cache)
                    if fresh or turn:  # the first turn fills what is kept
                        least[command, fresh] = min(spent, least.get((command, fresh), spent))
    for command in COMMANDS:
        first, again = least[command, True], least[command, False]
        rows.append(
            f"| `{command}` | {1000 * first:.0f} ms | {1000 * again:.0f} ms | {again / imports:.2f} |"
        )
    return [*rows, "", f"The imports take {1000 * imports:.0f} ms."]


if __name__ == "__main__":
    print("\n".join(table()))
