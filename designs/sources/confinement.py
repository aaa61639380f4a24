"""Confines the process that calls it: its time, its memory, what it writes, and which files it can open.

It stands alone, without imports from Forelight, so that a child process can use it before anything else. The files are
kept away by Landlock, a part of Linux from 5.13 on (its system calls and constants are those of the kernel's
`include/uapi/linux/landlock.h`); on other systems the limits remain.
"""

from __future__ import annotations

import ctypes
import os
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

_CREATE_RULESET, _ADD_RULE, _RESTRICT_SELF = 444, 445, 446  # the same on all processors
_VERSION_FLAG, _PATH_BENEATH, _NO_NEW_PRIVILEGES = 1, 1, 38
_READ_FILE, _READ_FOLDER = 1 << 2, 1 << 3
#: Rights over files that a version of Landlock can withhold: version -> number of them.
_RIGHTS = {1: 13, 2: 14, 3: 15, 4: 15, 5: 16}
_NET = 0b11  # to bind and to connect
_SCOPES = 0b11  # abstract sockets and signals
_DIE_WITH_PARENT = 1  # of prctl
_OWN_USERS, _OWN_NETWORK, _OWN_NAMES = 0x10000000, 0x40000000, 0x08000000  # of unshare
#: Bytes of stack; Linux leaves room for 128 MiB whatever the bound was when the process began (`mm/util.c`, MIN_GAP).
_STACK = 100 * 2**20
_FILES = 256


class _PathBeneath(ctypes.Structure):
    _pack_ = 1
    _layout_ = "ms"
    _fields_ = (("rights", ctypes.c_uint64), ("folder", ctypes.c_int32))


def limit(seconds: int, memory: int, written: int, processes: int | None = None) -> None:
    """Bounds on seconds of processor time, bytes of memory and of a file that is written (0: no bound), and processes.

    A bound that the system sets already, and is lower, stays. The stack may grow further than usual: Yosys goes along
    chains of gates by recursion.
    """
    try:
        import resource
    except ImportError:  # not on this system: the parent's time limit remains
        return
    # Python ignores it, and a program that does not look at its writes would end early as if it were done.
    signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
    bounds = {
        "RLIMIT_CPU": seconds or None,
        "RLIMIT_AS": memory or None,
        "RLIMIT_FSIZE": written or None,
        "RLIMIT_CORE": 0,
        "RLIMIT_NOFILE": _FILES,
        # Of all processes of this user, so that 0 means: no more of them. The administrator is exempt.
        "RLIMIT_NPROC": processes,
    }
    for name, bound in bounds.items():
        kind = getattr(resource, name, None)
        if kind is None or bound is None:
            continue
        lowest = min([bound, *(n for n in resource.getrlimit(kind) if n != resource.RLIM_INFINITY)])
        with suppress(ValueError, OSError):  # macOS knows bounds of memory and refuses to set them
            resource.setrlimit(kind, (lowest, lowest))
    _, hard = resource.getrlimit(resource.RLIMIT_STACK)
    deep = _STACK if hard == resource.RLIM_INFINITY else min(_STACK, hard)
    with suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_STACK, (deep, hard))


def die_with(parent: int) -> None:
    """Have this process killed when its parent, of that number, is gone (Linux)."""
    if sys.platform == "linux":
        _must(ctypes.CDLL(None, use_errno=True).prctl(_DIE_WITH_PARENT, signal.SIGKILL, 0, 0, 0))
        if os.getppid() != parent:  # it was gone before
            sys.exit(1)


def landlock_version() -> int:
    """0 where this system has none."""
    if sys.platform != "linux":
        return 0
    return max(0, _call(_CREATE_RULESET, None, ctypes.c_size_t(0), ctypes.c_uint32(_VERSION_FLAG)))


def only_read(places: Sequence[str]) -> bool:
    """From now on this process opens nothing but these files and what lies in these folders, for reading.

    It starts no program either, and from later versions on makes and takes no TCP connections, and reaches no abstract
    socket and no other process by a signal.

    What is open already stays open. Returns False, with nothing done, where the system cannot do that.
    """
    version = landlock_version()
    if not version:
        return False
    rights = (1 << _RIGHTS.get(version, 16)) - 1
    # Each version made the record longer; older kernels want it as short as they know it.
    fields = [rights, _NET, _SCOPES][: 1 if version < 4 else 2 if version < 6 else 3]
    record = (ctypes.c_uint64 * len(fields))(*fields)
    rules = _call(_CREATE_RULESET, record, ctypes.c_size_t(ctypes.sizeof(record)), ctypes.c_uint32(0))
    if rules < 0:
        return False
    for place in places:
        opened = os.open(place, os.O_PATH | os.O_CLOEXEC)
        rule = _PathBeneath(_READ_FILE | (_READ_FOLDER if Path(place).is_dir() else 0), opened)
        _must(_call(_ADD_RULE, rules, _PATH_BENEATH, ctypes.byref(rule), ctypes.c_uint32(0)))
        os.close(opened)
    libc = ctypes.CDLL(None, use_errno=True)
    _must(libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0))
    _must(_call(_RESTRICT_SELF, rules, ctypes.c_uint32(0)))
    os.close(rules)
    return True


def leave_the_network() -> bool:
    """Move this process to a network of its own, with nothing else in it (Linux, where users may make namespaces)."""
    if sys.platform != "linux":
        return False
    libc = ctypes.CDLL(None, use_errno=True)
    return bool(libc.unshare(_OWN_USERS | _OWN_NETWORK | _OWN_NAMES) == 0)


def _call(number: int, *arguments: object) -> int:
    libc = ctypes.CDLL(None, use_errno=True)
    return int(libc.syscall(ctypes.c_long(number), *arguments))


def _must(result: int) -> None:
    if result < 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
