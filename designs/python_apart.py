"""Amaranth source to RTLIL in a process of its own, under limits: for sources from outside the catalogue."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from forelight.sim.errors import SourceError

SECONDS = 60
BYTES = 4 * 2**30
#: Of RTLIL, which is all that comes back.
BYTES_WRITTEN = 256 * 2**20


def rtlil_apart(path: Path, class_name: str | None = None) -> str:
    """The RTLIL text of a component, as `amaranth_rtlil` gives it.

    The process may take SECONDS of time, BYTES of memory and BYTES_WRITTEN of output. With Landlock (Linux) it can
    also neither write a file, nor start a program, nor open a TCP connection. Raises SourceError.
    """
    order = {
        "path": str(path),
        "class_name": class_name,
        "limits": (SECONDS + 5, BYTES, BYTES_WRITTEN),
    }
    with tempfile.TemporaryFile() as answer:
        try:
            done = subprocess.run(
                [sys.executable, "-I", "-m", "forelight.designs.python_child"],
                input=json.dumps(order).encode(),
                stdout=answer,
                stderr=subprocess.PIPE,
                timeout=SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise _failed(path, f"did not finish within {SECONDS} s") from None
        answer.seek(0)
        raw = answer.read()
    # What the design prints is not Forelight's output.
    sys.stderr.write(done.stderr.decode(errors="replace"))
    if done.returncode == -getattr(signal, "SIGXFSZ", 0):
        raise _failed(path, f"comes to more than {BYTES_WRITTEN >> 20} MiB of RTLIL")
    if done.returncode != 0:
        raise _failed(path, f"ended its process with code {done.returncode}")
    found = json.loads(raw)
    if "error" in found:
        what, place, remedy = found["error"]
        raise SourceError(what, place=place, remedy=remedy)
    return str(found["rtlil"])


def _failed(path: Path, what: str) -> SourceError:
    return SourceError(f"the source {what}", place=str(path), remedy="simplify the design")
