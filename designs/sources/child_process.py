"""Runs a reader of sources in a process of its own, which keeps to limits that it sets itself (`confinement.limit`)."""

from __future__ import annotations

import signal
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

#: Of a native reader: bytes of memory, and of RTLIL, which is all that comes back.
BYTES = 4 * 2**30
BYTES_WRITTEN = 256 * 2**20


def run_child(
    command: Sequence[str],
    order: bytes,
    seconds: float,
    *,
    folder: Path | None = None,
    environment: Mapping[str, str] | None = None,
) -> subprocess.CompletedProcess[bytes]:
    """Give the order to standard input, and take what is printed. Raises `subprocess.TimeoutExpired`."""
    with tempfile.TemporaryFile() as printed:  # of a file the system can bound the size, of a pipe it cannot
        done = subprocess.run(
            command,
            input=order,
            stdout=printed,
            stderr=subprocess.PIPE,
            timeout=seconds,
            cwd=folder,
            env=environment,
            check=False,
        )
        printed.seek(0)
        return subprocess.CompletedProcess(command, done.returncode, printed.read(), done.stderr)


def outgrew(done: subprocess.CompletedProcess[bytes] | subprocess.CompletedProcess[str]) -> bool:
    """Whether the child ended because it printed more than it may."""
    return done.returncode == -getattr(signal, "SIGXFSZ", 0)
