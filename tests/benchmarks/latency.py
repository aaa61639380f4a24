"""Times whole processes of the command from the outside, each started anew."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

TIMES = 15

#: A slot whose design is in Amaranth.
SLOT = "lighthouse"


def latencies() -> list[tuple[str, list[float] | str]]:
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
            environment = {**os.environ, "XDG_CACHE_HOME": cache or f"{folder}/cache"}
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
