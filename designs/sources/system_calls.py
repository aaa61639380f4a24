"""Leaves the process that calls it no system calls but those of a program that reads files and computes (Linux).

It stands alone, without imports from Forelight, so that a child process can use it before anything else. The kernel
keeps the rule, a program in its classic packet filter (`Documentation/userspace-api/seccomp_filter.rst`, constants of
`include/uapi/linux/`): no sockets, no processes and threads, no signals to others, no files that are written, made,
moved or given other modes, owners, times or attributes, no limits of others, no memory shared by name, no `io_uring`.
What is not named here is refused, so what later kernels bring is refused too.
"""

from __future__ import annotations

import ctypes
import errno
import os
import platform
import struct
import sys

#: Each call with its number on x86_64 and on aarch64 (None: there is none).
CALLS: dict[str, tuple[int | None, int | None]] = {
    # files that are there, for reading
    "read": (0, 63),
    "pread64": (17, 67),
    "readv": (19, 65),
    "write": (1, 64),
    "writev": (20, 66),
    "close": (3, 57),
    "close_range": (436, 436),
    "lseek": (8, 62),
    "dup": (32, 23),
    "dup2": (33, None),
    "dup3": (292, 24),
    "stat": (4, None),
    "fstat": (5, 80),
    "lstat": (6, None),
    "newfstatat": (262, 79),
    "statx": (332, 291),
    "access": (21, None),
    "faccessat": (269, 48),
    "faccessat2": (439, 439),
    "getcwd": (79, 17),
    "getdents": (78, None),
    "getdents64": (217, 61),
    "readlink": (89, None),
    "readlinkat": (267, 78),
    "poll": (7, None),
    "ppoll": (271, 73),
    "select": (23, None),
    "pselect6": (270, 72),
    # memory
    "brk": (12, 214),
    "mmap": (9, 222),
    "mprotect": (10, 226),
    "mremap": (25, 216),
    "munmap": (11, 215),
    "madvise": (28, 233),
    # time
    "clock_getres": (229, 114),
    "clock_gettime": (228, 113),
    "clock_nanosleep": (230, 115),
    "gettimeofday": (96, 169),
    "nanosleep": (35, 101),
    "restart_syscall": (219, 128),
    "time": (201, None),
    "times": (100, 153),
    # the process itself
    "arch_prctl": (158, None),
    "exit": (60, 93),
    "exit_group": (231, 94),
    "futex": (202, 98),
    "getegid": (108, 177),
    "geteuid": (107, 175),
    "getgid": (104, 176),
    "getgroups": (115, 158),
    "getpid": (39, 172),
    "getppid": (110, 173),
    "getrandom": (318, 278),
    "getrusage": (98, 165),
    "gettid": (186, 178),
    "getuid": (102, 174),
    "membarrier": (324, 283),
    "rseq": (334, 293),
    "rt_sigaction": (13, 134),
    "rt_sigprocmask": (14, 135),
    "rt_sigreturn": (15, 139),
    "sched_getaffinity": (204, 123),
    "sched_yield": (24, 124),
    "set_robust_list": (273, 99),
    "sigaltstack": (131, 132),
    "sysinfo": (99, 179),
    "uname": (63, 160),
    # only with the arguments of CHECKED
    "open": (2, None),
    "openat": (257, 56),
    "fcntl": (72, 25),
    "ioctl": (16, 29),
    "tgkill": (234, 131),
}
_ALL = 0xFFFFFFFF
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC
_DUPLICATE, _DUPLICATE_CLOSED = 0, 1030
_FCNTL = (_DUPLICATE, _DUPLICATE_CLOSED, 1, 2, 3, 4)  # beside: flags are read and set
_IOCTL = (
    0x5401,
    0x5413,
    0x541B,
    0x5450,
    0x5451,
)  # is it a terminal, how large, bytes ready; kept over a start
#: Which argument of a call is looked at (its low half, which is all that the kernel takes of these), which bits of it,
#: and what they may be; of `tgkill` it is the number of this process.
CHECKED: dict[str, tuple[int, int, tuple[int, ...]]] = {
    "open": (1, _WRITING, (0,)),
    "openat": (2, _WRITING, (0,)),
    "fcntl": (1, _ALL, _FCNTL),
    "ioctl": (1, _ALL, _IOCTL),
    "tgkill": (0, _ALL, ()),
}
#: `linux/audit.h`, and the column above.
PROCESSORS = {"x86_64": (0xC000003E, 0), "aarch64": (0xC00000B7, 1)}

# `linux/bpf_common.h`, `linux/seccomp.h`
_LOAD, _AND, _EQUAL, _AT_LEAST, _RETURN = 0x20, 0x54, 0x15, 0x35, 0x06
_NUMBER_AT, _PROCESSOR_AT, _ARGUMENTS_AT = 0, 4, 16
_ALLOW, _ERRNO = 0x7FFF0000, 0x00050000
_REFUSE = _ERRNO | errno.EPERM
_SET_SECCOMP, _FILTER, _NO_NEW_PRIVILEGES = 22, 2, 38
#: Calls from here on are newer than the C library must take for granted: without them it does without.
_NEW = 424
#: A bit of the numbers of a third way to call on x86_64, with pointers of 32 bits.
_X32 = 0x40000000

Instruction = tuple[int, int, int, int]


class _FilterCode(ctypes.Structure):
    _fields_ = (("length", ctypes.c_ushort), ("code", ctypes.c_char_p))


def can_be_kept() -> bool:
    """Whether this kernel keeps such a rule, and the calls of this processor are known here."""
    if sys.platform != "linux" or platform.machine() not in PROCESSORS or ctypes.sizeof(ctypes.c_void_p) != 8:
        return False
    libc = ctypes.CDLL(None, use_errno=True)
    # Without a program: EFAULT from a kernel that wants one, EINVAL from one that knows no filters.
    return libc.prctl(_SET_SECCOMP, _FILTER, None, 0, 0) == -1 and ctypes.get_errno() == errno.EFAULT


def keep_to_reading() -> None:
    """From now on this process, and no other, makes the calls above alone; others fail. Raises OSError."""
    instructions = program(platform.machine(), os.getpid())
    code = b"".join(struct.pack("=HBBI", *instruction) for instruction in instructions)
    libc = ctypes.CDLL(None, use_errno=True)
    for arguments in (
        (_NO_NEW_PRIVILEGES, 1, 0, 0, 0),
        (_SET_SECCOMP, _FILTER, ctypes.byref(_FilterCode(len(instructions), code)), 0, 0),
    ):
        if libc.prctl(*arguments):
            raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))


def program(processor: str, process: int) -> list[Instruction]:
    """The rule for one kind of processor: code, steps if true, steps if false, and a number for each instruction."""
    mark, column = PROCESSORS[processor]
    made = [
        (_LOAD, 0, 0, _PROCESSOR_AT),
        (_EQUAL, 1, 0, mark),
        (_RETURN, 0, 0, _REFUSE),
        (_LOAD, 0, 0, _NUMBER_AT),
    ]
    for name, numbers in CALLS.items():
        number = numbers[column]
        if number is not None:
            then = _checked(*CHECKED[name], process) if name in CHECKED else [(_RETURN, 0, 0, _ALLOW)]
            made += [(_EQUAL, 0, len(then), number), *then]
    return [
        *made,
        (_AT_LEAST, 2, 0, _X32),
        (_AT_LEAST, 0, 1, _NEW),
        (_RETURN, 0, 0, _ERRNO | errno.ENOSYS),
        (_RETURN, 0, 0, _REFUSE),
    ]


def _checked(argument: int, bits: int, values: tuple[int, ...], process: int) -> list[Instruction]:
    made = [(_LOAD, 0, 0, _ARGUMENTS_AT + 8 * argument), (_AND, 0, 0, bits)]
    for value in values or (process,):
        made += [(_EQUAL, 0, 1, value), (_RETURN, 0, 0, _ALLOW)]
    return [*made, (_RETURN, 0, 0, _REFUSE)]
