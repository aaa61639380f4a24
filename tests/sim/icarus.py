"""Compiles and runs Verilog under Icarus Verilog, a judge from outside the project."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

needs_icarus = pytest.mark.skipif(
    shutil.which("iverilog") is None, reason="Icarus Verilog (Debian: iverilog) is not installed"
)


def run(
    sources: Sequence[Path],
    top: str,
    directory: Path,
    *,
    include: Sequence[Path] = (),
    define: Mapping[str, object] | None = None,
    standard: str = "2009",
) -> str:
    """What the simulation of `top` prints; `directory` takes the compiled file and is where it runs.

    `standard` is 2005 for IEEE 1364-2005, where a name may be a word that IEEE 1800 keeps for itself.
    """
    image = directory / f"{top}.vvp"
    options = [f"-I{folder}" for folder in include] + [f"-D{k}={v}" for k, v in (define or {}).items()]
    command = ["iverilog", f"-g{standard}", "-s", top, "-o", str(image), *options, *map(str, sources)]
    subprocess.run(command, check=True, timeout=120)
    done = subprocess.run(
        ["vvp", "-n", str(image)], cwd=directory, check=True, timeout=120, stdout=subprocess.PIPE
    )
    return done.stdout.decode()
