"""Runs Yosys commands in a process of its own; knows nothing of Forelight, so that it starts fast.

Started as `python -I -S yosys_child.py`; standard input holds, marshalled, the folder of the Yosys package, the limits
in seconds and bytes (0: none), and the commands, each a list of words. Yosys ends the process itself on an error.
"""

import marshal
import sys


def main() -> None:
    package, seconds, memory, commands = marshal.load(sys.stdin.buffer)
    sys.path.insert(0, package)
    try:
        import resource
    except ImportError:  # not on this system: the parent's time limit remains
        pass
    else:
        for kind, limit in ((resource.RLIMIT_CPU, seconds), (resource.RLIMIT_AS, memory)):
            if limit:
                resource.setrlimit(kind, (limit, limit))
    from pyosys import libyosys

    design = libyosys.Design()
    for command in commands:
        libyosys.Pass.call(design, command)


if __name__ == "__main__":
    main()
