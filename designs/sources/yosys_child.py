"""Runs Yosys commands in a process of its own; knows nothing of Forelight, so that it starts fast.

Started as `python -I -S yosys_child.py`; standard input holds, marshalled, the folder of the Yosys package, the number
of the process that asks, the limits in seconds and bytes of memory and output (0: none), the files and folders that may
be read, texts, and the commands, each a list of words, of which the last may be a NUL and the number of a text. Yosys
ends the process on an error.
"""

import marshal
import os
import runpy
import sys
import tempfile
from pathlib import Path


def main() -> None:
    package, parent, limits, readable, texts, commands = marshal.load(sys.stdin.buffer)
    # The files beside this one, without the package around them.
    confinement, calls = (
        runpy.run_path(str(Path(__file__).with_name(name))) for name in ("confinement.py", "system_calls.py")
    )
    sys.path.insert(0, package)
    confinement["die_with"](parent)
    confinement["limit"](*limits)
    from pyosys import libyosys

    opened = [_opened(text) for text in texts]
    confinement["only_read"](readable)
    if calls["can_be_kept"]():
        calls["keep_to_reading"]()
    design = libyosys.Design()
    for command in commands:
        name = command[-1]
        words = [*command[:-1], f"/dev/fd/{opened[int(name[1:])]}" if name[0] == "\0" else name]
        libyosys.Pass.call(design, words)


def _opened(text: bytes) -> int:
    """The number of an open file without a name that holds a text."""
    if hasattr(os, "memfd_create"):
        number = os.memfd_create("text")
    else:
        number, path = tempfile.mkstemp()
        Path(path).unlink()
    os.write(number, text)
    os.lseek(number, 0, os.SEEK_SET)
    return number


if __name__ == "__main__":
    main()
