"""Amaranth source to RTLIL in a process of its own, under limits: for sources from outside the catalogue."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

from forelight.sim.errors import SourceError
from forelight.sim.plain_text import clean

from . import system_calls
from .child_process import MORE_TIME, OutgrownError, Share, run_child
from .confinement import landlock_version

#: All of the environment that a design gets: what Python and the system's libraries go by.
_ENVIRONMENT = ("HOME", "LANG", "LC_ALL", "LC_CTYPE", "PATH", "SYSTEMROOT", "TEMP", "TMP", "TMPDIR", "TZ")
#: There are no further threads, and libraries that start some are told so.
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def rtlil_apart(path: Path, class_name: str | None = None) -> str:
    """The RTLIL text of a component, as `amaranth_rtlil` gives it.

    The process may take what is left of the bounds of time and memory, and BYTES_WRITTEN of output. On Linux it can
    also neither write a file, nor start a program, process or thread, nor reach the network or another process, and
    it reads nothing but the source's folder and what Python and the system's libraries consist of; where the kernel
    cannot keep it from all of that, standard error says so first. Raises SourceError.
    """
    share = Share.left()
    order = {
        "path": str(path),
        "class_name": class_name,
        "limits": share.own(),
        "parent": os.getpid(),
    }
    if left_open():
        sys.stderr.write(f"note: {clean(str(path))} is a program, and {left_open()}\n")
    environment = {key: os.environ[key] for key in _ENVIRONMENT if key in os.environ} | _ONE_THREAD
    try:
        done = run_child(_command(), json.dumps(order).encode(), share.seconds, environment=environment)
    except subprocess.TimeoutExpired:
        raise _failed(path, f"did not finish within {share.seconds} s", MORE_TIME) from None
    except OutgrownError as much:
        raise _failed(path, f"writes more than {much.most >> 20} MiB") from None
    # What the design prints is not Forelight's output.
    sys.stderr.write(clean(done.stderr.decode(errors="replace")))
    if done.returncode != 0:
        raise _failed(path, f"ended its process with code {done.returncode}")
    try:
        found = json.loads(done.stdout)
        if "rtlil" in found:
            return str(found["rtlil"])
        what, place, remedy = map(str, found["error"])
    except (ValueError, KeyError, TypeError, RecursionError):
        raise _failed(path, "wrote what is no RTLIL into the answer of its process") from None
    raise SourceError(what, place=place, remedy=remedy)


@cache
def left_open() -> str:
    """What this system does not keep a design from, in words; empty where it is kept from all that it can be."""
    files, calls = landlock_version() > 0, system_calls.can_be_kept()
    if files and calls:
        return ""
    if calls:
        return "this system has no Landlock to keep it from reading what you can read"
    if files:
        return "this system cannot keep it from the network, or from changing modes and times of files"
    return "this system cannot keep it from anything that you can do"


def _command() -> list[str]:
    """Starts a Python that finds the packages that this one finds, but nothing in the current folder."""
    places = [place for place in sys.path[1:] if place and place != str(Path.cwd())]
    code = "import runpy, sys; sys.path += sys.argv[1:]; runpy.run_module('{}', run_name='__main__')"
    return [sys.executable, "-I", "-S", "-c", code.format(f"{__package__}.python_child"), *places]


def _failed(path: Path, what: str, remedy: str = "simplify the design") -> SourceError:
    return SourceError(f"the source {what}", place=str(path), remedy=remedy)
