"""A million steps, 256 power-ups and proof, as CSV. `python -m tests.benchmarks.goldens [DESIGN ...]`."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

from forelight.designs.catalogue import load_design
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.designs.sheets.bare import bare
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.golden.write import write_golden
from forelight.harness.hand.routine import default_procedure

STEPS = 1_000_000
POWER_UPS = 256
DESIGNS = ("tide_gauge", "dice", "lighthouse", "weather_report", "ripple_clock")
#: A counter of sixteen bits without a restart, which never settles: all power-ups have to be run to the end.
FREE = """module free (input [7:0] inputs, output [7:0] outputs);
    reg [15:0] count;
    always @(posedge inputs[7]) count <= count + 1;
    assign outputs = count[7:0] ^ count[15:8];
endmodule
"""


def in_process(sheet: Datasheet, folder: Path) -> str:
    """Seconds of the prediction and of the file, everything compiled before."""
    board = load_board("quay")
    procedure = default_procedure(board, sheet, code=0, steps=STEPS)
    if sheet.name == "free":
        procedure = Procedure("free", parse(["strap 0", f"steps {STEPS}"]))
    predict(board, sheet, procedure, power_ups=POWER_UPS)
    begun = perf_counter()
    golden = predict(board, sheet, procedure, power_ups=POWER_UPS)
    foretold = perf_counter()
    write_golden(golden, folder / "golden.csv")
    written = perf_counter()
    size = (folder / "golden.csv").stat().st_size
    rate = STEPS / (written - begun) / 1e6
    return (
        f"{foretold - begun:6.2f} {written - foretold:6.2f} {written - begun:6.2f} {rate:6.2f} "
        f"{len(golden.ticks) / 1e6:6.2f} {size / 1e6:6.0f}  {golden.facts['start']}"
    )


def whole_process(name: str, folder: Path) -> tuple[float, float]:
    """Seconds of the command, Python's start included, and of the processor; the cache is kept from a first run."""
    command = [str(Path(sys.executable).with_name("forelight")), "golden", name, "--strap", "0"]
    command += ["--seconds", f"{STEPS / 1500:.2f}", "--power-ups", str(POWER_UPS), "-o", "golden.csv"]
    walls, cores = [], []
    for _ in range(4):
        begun, used = perf_counter(), _children_s()
        subprocess.run(command, cwd=folder, check=True, capture_output=True)
        walls.append(perf_counter() - begun)
        cores.append(_children_s() - used)
    return min(walls), min(cores)


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    print(f"{STEPS:,} steps, {POWER_UPS} power-ups, proof and CSV; seconds, million steps a second")
    print(f"{'design':16} foretold written    sum   rate  Mrows     MB  start     command   core")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for design in sys.argv[1:] or DESIGNS:
            told = in_process(load_design(design), folder)
            wall, core = whole_process(design, folder)
            print(f"{design:16} {told:44} {wall:8.2f} {core:6.2f}", flush=True)
        (folder / "free.v").write_text(FREE)
        print(f"{'free (16 bits)':16} {in_process(bare(folder / 'free.v', None, 'i7', None), folder):44}")


if __name__ == "__main__":
    main()
