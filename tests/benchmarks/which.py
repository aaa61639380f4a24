"""Which of many slots a recording fits, with all their runs: `python -m tests.benchmarks.which`."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from forelight.designs.catalogue import load_design, names
from forelight.harness.boards.reader import load_board

from tests.harness.verdict.begun import draw
from tests.map import ROOT

SEED, DESIGN, SLOTS = 3, "weather_report", 1000
POSITIONS = 1024
MAIN = "from forelight.harness.start import main; main()"


def crowded(count: int) -> str:
    """A board as quick as quay, on whose chip the catalogue lies over and over: its profile."""
    quay = load_board("quay")
    fitting = [name for name in names() if name in quay.slots.values()]
    text = (ROOT / "harness/boards/quay.toml").read_text("utf-8").partition("[slots]")[0]
    for old, new in (
        ("positions = 192", f"positions = {POSITIONS}"),
        ("slot_count = 192", f"slot_count = {POSITIONS}"),
        ("18_432_000", str(quay.oscillator_hz * POSITIONS // quay.positions)),
    ):
        text = text.replace(old, new)
    rows = (f'{number} = "{fitting[number % len(fitting)]}"' for number in range(count))
    return "\n".join([text, "[slots]", *rows]) + "\n"


def measured(capture: Path, board: str) -> tuple[float, float, list[dict[str, object]]]:
    """Seconds that pass, seconds of the processors, and what is said of each slot, the best first."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [sys.executable, "-c", MAIN, "check", "--any", str(capture), "--board", board]
    answer = subprocess.run([*command, "--json"], capture_output=True, text=True, check=False)
    passed, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return passed, spent, json.loads(answer.stdout)["slots"]


def main() -> None:
    made = draw("with its line", SEED, (DESIGN,))
    print(f"a recording of {DESIGN}, seed {SEED}, {made.changes} changes after its restart")
    with TemporaryDirectory() as folder:
        capture, board = Path(folder) / "bench.vcd", Path(folder) / "crowded.toml"
        capture.write_text(made.text)
        board.write_text(crowded(SLOTS))
        for name in ("quay", str(board)):
            passed, spent, slots = measured(capture, name)
            runs = sum(1 + len(load_design(str(slot["name"])).runs) for slot in slots)
            agree = {str(slot["name"]) for slot in slots if slot["verdict"] == "agrees"}
            print(
                f"{len(slots):5} slots, {runs:5} runs: {passed:5.1f} s, {spent:5.1f} s of the processors, "
                f"first {slots[0]['name']}, agree: {', '.join(sorted(agree)) or 'none'}"
            )


if __name__ == "__main__":
    main()
