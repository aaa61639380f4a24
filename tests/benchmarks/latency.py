"""Times what a person waits for: whole processes of the command, and the first cycles of a circuit."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from time import perf_counter

from forelight.sim import Simulation
from forelight.sim.rtlil.reader import parse

from .circuits import Circuit
from .design import CLOCK_BIT, OnPins, rtlil

TIMES = 15

#: A slot whose design is in Amaranth.
SLOT = "lighthouse"


def first_cycles(circuits: Sequence[Circuit]) -> list[tuple[str, list[float] | str]]:
    """Seconds from RTLIL text to the bytes of 4096 cycles, all imported, nothing compiled before."""
    rows: list[tuple[str, list[float] | str]] = []
    for circuit in circuits:
        text = rtlil(OnPins(circuit.design()))
        times = []
        for _ in range(TIMES):
            with tempfile.TemporaryDirectory() as folder:
                os.environ["FORELIGHT_CACHE"] = folder
                start = perf_counter()
                Simulation(parse(text)).run_clock("inputs", bit=CLOCK_BIT, cycles=4096, observe="outputs")
                times.append(perf_counter() - start)
        rows.append((f"RTLIL to 4096 cycles, {circuit.name}", times))
    return rows


def processes() -> list[tuple[str, list[float] | str]]:
    """Seconds of each of 15 runs of a command, or why it did not run."""
    with tempfile.TemporaryDirectory() as kept:
        golden = ["golden", SLOT, "-o", "golden.csv"]
        return [
            ("forelight --help", _times(["--help"], kept)),
            (f"forelight golden {SLOT}, empty cache", _times(golden, None)),
            (f"forelight golden {SLOT}, cache kept", _times(golden, kept)),
        ]


def _times(arguments: list[str], cache: str | None) -> list[float] | str:
    """One run that is not counted, so that Python has its byte code, then the others, each in a new folder."""
    times = []
    for _ in range(TIMES + 1):
        with tempfile.TemporaryDirectory() as folder:
            environment = {**os.environ, "FORELIGHT_CACHE": cache or f"{folder}/cache"}
            command = [str(Path(sys.executable).with_name("forelight")), *arguments]
            start = perf_counter()
            try:
                done = subprocess.run(
                    command, cwd=folder, env=environment, capture_output=True, text=True, check=False
                )
            except OSError as error:
                return str(error.strerror)
            times.append(perf_counter() - start)
            if done.returncode:
                return (done.stderr.strip() or f"exit code {done.returncode}").splitlines()[-1][:60]
    return times[1:]
