"""Bounds on what a command does to a design: one sentence, exit code 2, whatever part of the work was too large."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

MAIN = "from forelight.harness.cli import main; main()"
MANY = """
from forelight.harness.limits import watch
from forelight.harness.terminal.cores import for_each

def work(number):
    while True:
        number += 1

if __name__ == "__main__":
    watch()
    print(list(for_each(work, [1, 2], "Working")))
"""


def ended(*words: str, **bounds: str) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-c", MAIN, *words],
        env=os.environ | bounds,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    return done.returncode, done.stdout, done.stderr


def test_processor_time() -> None:
    """The bound leaves room for what comes before the run, on a machine that is busy too."""
    code, out, words = ended(
        "golden", "lighthouse", "--seconds", "40000", "--power-ups", "40000", FORELIGHT_SECONDS="2"
    )
    assert (code, out) == (2, "")
    assert words == (
        "forelight: running lighthouse takes more than 2 s of processor time; ask for less (--seconds, --power-ups), "
        "make the design smaller, or set FORELIGHT_SECONDS higher\n"
    )


def test_memory(tmp_path: Path) -> None:
    target = tmp_path / "long.csv"
    code, _, words = ended(
        "golden", "tide_gauge", "--seconds", "400000", "-o", str(target), FORELIGHT_MIB="60"
    )
    assert code == 2 and "takes more than 60 MiB of memory; ask for less" in words
    assert list(tmp_path.iterdir()) == []


def test_what_reads_a_source_has_the_same_bounds(tmp_path: Path) -> None:
    """By the clock too: a source may sleep."""
    path = tmp_path / "lamp.py"
    path.write_text("import time\ntime.sleep(60)\n")
    code, out, words = ended("golden", str(path), "--trust", FORELIGHT_SECONDS="2")
    assert (code, out) == (2, "")
    said = f"forelight: {path}: the source did not finish within 2 s; "
    assert words == f"{said}simplify the design, or set FORELIGHT_SECONDS higher\n"


def test_each_of_several_processes(tmp_path: Path) -> None:
    """They are bounded as the command is, which itself only waits for them."""
    script = tmp_path / "many.py"
    script.write_text(MANY)
    done = subprocess.run(
        [sys.executable, script],
        env=os.environ | {"FORELIGHT_SECONDS": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.stdout == "", done.stderr
    assert done.stderr.splitlines()[-1].startswith(
        "forelight.harness.limits.LimitError: this command takes more than 1 s of processor time; ask for less"
    )


def test_bounds_that_are_no_numbers() -> None:
    code, _, words = ended("slots", FORELIGHT_MIB="lots")
    assert (code, words) == (2, "forelight: FORELIGHT_MIB is 'lots'; give a whole number above 0\n")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the bound of a process is set otherwise")
def test_less_memory_than_is_needed_from_the_system() -> None:
    command = f"ulimit -v 700000; exec {sys.executable} -c '{MAIN}' golden lighthouse --power-ups 1000000 --seconds 300"
    done = subprocess.run(["/bin/sh", "-c", command], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 2 and len(done.stderr.splitlines()) == 1, done.stderr
    assert "takes more memory than this process may have" in done.stderr
