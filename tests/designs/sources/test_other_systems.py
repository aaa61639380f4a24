"""Nothing refuses to work for want of what only some systems have: commands run with those modules and names hidden."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from textwrap import dedent

import pytest

#: Modules and names that are of Unix or of Linux alone (the Python library's pages say of each where it is available).
HIDE = """
    import os, signal, sys
    import concurrent.futures, json, multiprocessing.connection, subprocess, sysconfig, tempfile  # have their own ways
    sysconfig.get_config_vars()
    for module in ("curses", "fcntl", "grp", "pty", "pwd", "readline", "resource", "syslog", "termios", "tty"):
        sys.modules[module] = None
    for name in ("killpg", "memfd_create", "mkfifo", "register_at_fork", "sched_getaffinity", "sysconf", "waitid"):
        delattr(os, name)
    for name in ("SIGALRM", "SIGHUP", "SIGPIPE", "SIGXFSZ", "SIGWINCH"):
        delattr(signal, name)
    sys.platform = "other"
"""
RUN = "    from forelight.harness.cli import main; main()\n"
DESIGNS = {
    "lamp.v": "module lamp(input [7:0] inputs, output [7:0] outputs);\n  assign outputs = ~inputs;\nendmodule\n",
    "lamp.py": """
        from amaranth.hdl import *
        from amaranth.lib import wiring
        from amaranth.lib.wiring import In, Out

        class Lamp(wiring.Component):
            inputs: In(8)
            outputs: Out(8)

            def elaborate(self, platform):
                m = Module()
                m.d.comb += self.outputs.eq(~self.inputs)
                return m
    """,
}


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, text in DESIGNS.items():
        (tmp_path / name).write_text(dedent(text))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_commands() -> None:
    for words, expected in (
        (["golden", "lamp.v", "--seconds", "0.1", "-o", "lamp.csv"], ""),
        (
            ["golden", "lamp.py", "--trust", "--seconds", "0.1"],
            "cannot keep it from anything that you can do",
        ),
    ):
        code = dedent(HIDE) + dedent(RUN)
        done = subprocess.run(
            [sys.executable, "-c", code, *words],
            capture_output=True,
            text=True,
            check=False,
            env=os.environ | {"FORELIGHT_CACHE": str(Path("cache").absolute())},
        )
        assert done.returncode == 0, done.stderr
        assert expected in done.stderr and "Traceback" not in done.stderr
