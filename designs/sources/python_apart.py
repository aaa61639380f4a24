"""Amaranth source to RTLIL in a process of its own, under limits: for sources from outside the catalogue."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from forelight.sim.errors import SourceError
from forelight.sim.plain_text import clean

from .child_process import BYTES, BYTES_WRITTEN, outgrew, run_child

SECONDS = 60


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
    command = [sys.executable, "-I", "-m", "forelight.designs.sources.python_child"]
    try:
        done = run_child(command, json.dumps(order).encode(), SECONDS)
    except subprocess.TimeoutExpired:
        raise _failed(path, f"did not finish within {SECONDS} s") from None
    # What the design prints is not Forelight's output.
    sys.stderr.write(clean(done.stderr.decode(errors="replace")))
    if outgrew(done):
        raise _failed(path, f"comes to more than {BYTES_WRITTEN >> 20} MiB of RTLIL")
    if done.returncode != 0:
        raise _failed(path, f"ended its process with code {done.returncode}")
    found = json.loads(done.stdout)
    if "error" in found:
        what, place, remedy = found["error"]
        raise SourceError(what, place=place, remedy=remedy)
    return str(found["rtlil"])


def _failed(path: Path, what: str) -> SourceError:
    return SourceError(f"the source {what}", place=str(path), remedy="simplify the design")
