"""What a fresh process takes for its first answer, over what it takes to import the libraries beneath it.

`python -m tests.benchmarks.cold` prints a table: with nothing kept from earlier runs, with the netlist and the machine
code kept, and with the answer kept too. The least processor time of several rounds, interleaved.
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
MAIN = "from forelight.harness.start import main; main()"
COMMANDS = ("show", "golden", "card")
SLOT, ROUNDS = "tide_gauge", 7


def processor_s(code: str, arguments: Sequence[str], cache: Path) -> float:
    """Processor seconds of one process, its children included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    environment = {**os.environ, "FORELIGHT_CACHE": str(cache)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # as after any installation
    command = [sys.executable, "-c", code, *arguments]
    subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def table() -> list[str]:
    """A row for each command: processor milliseconds, and over the imports, by what is kept."""
    rows = ["| command | nothing kept | netlist and code kept | answer kept |", "|---|---|---|---|"]
    with tempfile.TemporaryDirectory() as name:
        kept = Path(name) / "kept"
        least: dict[tuple[str, int], float] = {}
        imports = processor_s(LIBRARIES, (), kept)
        for turn in range(ROUNDS):
            imports = min(imports, processor_s(LIBRARIES, (), kept))
            for command in COMMANDS:
                spent = [processor_s(MAIN, (command, SLOT), Path(name) / f"{command}-{turn}")]
                for answer in kept.glob("*.answer"):
                    answer.unlink()
                spent += [processor_s(MAIN, (command, SLOT), kept) for _ in range(2)]
                for column, once in enumerate(spent):
                    if column != 1 or turn:  # the first turn fills what is kept
                        least[command, column] = min(once, least.get((command, column), once))
    for command in COMMANDS:
        took = [least[command, column] for column in range(3)]
        cells = [f"{1000 * one:.0f} ms, {one / imports:.2f}" for one in took]
        rows.append(f"| `{command}` | {' | '.join(cells)} |")
    return [*rows, "", f"The imports take {1000 * imports:.0f} ms."]


if __name__ == "__main__":
    print("\n".join(table()))
