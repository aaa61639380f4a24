"""A recording of ten million changes: read, aligned and judged. `python -m tests.benchmarks.recording [CHANGES]`."""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from forelight.harness.capture.readers import read_capture
from forelight.harness.verdict.verdict import AGREES, check
from forelight.sim.traces.columns import decimal, join

from tests.harness.verdict.noise import BOARD, Setup, golden_of

ROWS = 1 << 18
LATE = 0.25  # of a step, from a rise to the outputs


def write_dump(path: Path, setup: Setup, rng: np.random.Generator) -> int:
    """Eight random lines as VCD, a time stamp for each change, jitter of a fifth of a step, a clock that is 1 % off."""
    step = setup.step_ticks / BOARD.oscillator_hz * 1.01
    stamps, lines, levels = [], [], []
    for line in range(8):
        level = (setup.states >> line) & 1
        changed = np.flatnonzero(np.diff(level))
        at = np.sort(changed + LATE + rng.uniform(-0.2, 0.2, len(changed)))
        stamps.append(np.concatenate([[0], ((at + 3) * step * 1e9).astype(np.int64)]))
        lines.append(np.full(len(at) + 1, line, np.uint8))
        levels.append(np.concatenate([level[:1], level[changed + 1]]).astype(np.uint8))
    order = np.argsort(np.concatenate(stamps), kind="stable")
    stamp, line_of, level = (np.concatenate(parts)[order] for parts in (stamps, lines, levels))
    variables = "".join(f"$var wire 1 {chr(33 + n)} o{n} $end\n" for n in range(8))
    with path.open("wb") as file:
        file.write(f"$timescale 1 ns $end\n{variables}$enddefinitions $end\n".encode())
        for start in range(0, len(stamp), ROWS):
            rows = slice(start, start + ROWS)
            change = np.stack([level[rows] + ord("0"), line_of[rows] + 33], axis=1).astype(np.uint8)
            file.write(join(len(change), b"#", decimal(stamp[rows]), b"\n", change, b"\n"))
        file.write(f"#{int(stamp[-1]) + 1000}\n".encode())
    return len(stamp)


def peak() -> float:
    """Peak memory of this process in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000
    rng = np.random.default_rng(3)
    states = rng.integers(0, 256, wanted // 4 + 1).astype(np.uint8)  # four of eight lines change at each step
    setup = Setup(states, half=2, lead=5, restart=1, unsettled=0)
    golden = golden_of(setup)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "recording.vcd"
        changes = write_dump(path, setup, rng)
        size = path.stat().st_size / 1e6
        before, began = peak(), time.process_time()
        capture = read_capture(path)
        read = time.process_time() - began
        verdict = check(golden, capture, BOARD)
        judged = time.process_time() - began - read
    assert verdict.kind == AGREES, verdict
    print(f"changes            {changes:>12,} in {size:.0f} MB of VCD (seed 3)")
    print(f"read               {read:>12.2f} s, {changes / read / 1e6:.1f} million changes a second")
    print(f"aligned and judged {judged:>12.2f} s, {verdict.bits:,} bits in {verdict.steps:,} steps")
    both = read + judged
    print(
        f"together           {both:>12.2f} s of processor time, {changes / both / 1e6:.1f} million a second"
    )
    print(f"peak memory        {peak():>12.0f} MB, golden and all; {before:.0f} MB before the file was read")


if __name__ == "__main__":
    main()
