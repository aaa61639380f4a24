"""Runs Yosys commands in a process of its own; knows nothing of Forelight, so that it starts fast.

Started as `python -I -S yosys_child.py`; standard input holds, marshalled, the folder of the Yosys package, the limits
in seconds and bytes of memory and output (0: none), the folders that may be read, and the commands, each a list of
words. Yosys ends the process itself on an error.
"""

import marshal
import runpy
import sys
from pathlib import Path


def main() -> None:
    package, limits, folders, commands = marshal.load(sys.stdin.buffer)
    # The file beside this one, without the package around it.
    confinement = runpy.run_path(str(Path(__file__).with_name("confinement.py")))
    sys.path.insert(0, package)
    confinement["limit"](*limits)
    from pyosys import libyosys

    confinement["only_read"](folders)
    design = libyosys.Design()
    for command in commands:
        libyosys.Pass.call(design, command)


if __name__ == "__main__":
    main()
