"""What a program may try that only describes a circuit and has no need of any of it; each proves itself by succeeding.

A design imports this file, and it also runs as it is (`python attempts.py`), in a folder with `attempts.json` in it:
the number of a process to do things to, a TCP port and two sockets where something listens, and a file elsewhere. Linux
only. Nothing here does harm: signals are of number 0, limits and modes are set as they are.
"""

# The calls themselves are the subject.
# ruff: noqa: PTH101, PTH102, PTH104, PTH106, PTH108, PTH208, PTH211

from __future__ import annotations

import ctypes
import errno
import fcntl
import json
import mmap
import os
import platform
import resource
import signal
import socket
import struct
import subprocess
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

Attempt = Callable[[dict[str, Any]], object]
ATTEMPTS: dict[str, Attempt] = {}
#: What kernels and their administrators may not let anybody do, so that success cannot be asked for.
NOT_EVERYWHERE = {
    "a multipath connection",
    "a socket to the host of a virtual machine",
    "a socket to the kernel's ciphers",
    "an asynchronous queue (io_uring)",
    "own namespaces",
    "attributes of a file",
    "attributes of a file, newer call",
    "extended attribute",
    "modes, newer call",
    "a file without a name",
    "a process, by the newest call",
    "memory of another process",
    "open memory of another process",
    "files of another process",
    "trace another process",
    "a message queue with a name",
    "a program in the kernel",
    "counters of the processor",
    "faults of memory taken over",
    "calls of 32 bits",
    "calls with pointers of 32 bits",
    "a key for the kernel to keep",
    "pressure on memory",
}
libc = ctypes.CDLL(None, use_errno=True)
COLUMN = {"x86_64": 0, "aarch64": 1}.get(platform.machine(), 0)


def attempt(name: str) -> Callable[[Attempt], Attempt]:
    def keep(function: Attempt) -> Attempt:
        ATTEMPTS[name] = function
        return function

    return keep


def must(result: int) -> int:
    if result < 0:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))
    return result


def call(number: int | tuple[int, int], *arguments: object) -> int:
    """A system call by its number, or its numbers on x86_64 and aarch64."""
    chosen = number if isinstance(number, int) else number[COLUMN]
    return must(int(libc.syscall(ctypes.c_long(chosen), *arguments)))


def file(name: str) -> str:
    return str(Path(__file__).parent / name)


# Files. `kept` is there before.
ATTEMPTS |= {
    "a new file": lambda c: Path(file("new")).write_text("x"),
    "a file written over": lambda c: Path(file("kept")).write_text("kept"),
    "a file added to": lambda c: os.close(os.open(file("kept"), os.O_WRONLY | os.O_APPEND)),
    "a file opened to be changed": lambda c: os.close(os.open(file("kept"), os.O_RDWR)),
    "a file without a name": lambda c: os.close(os.open(file(""), os.O_TMPFILE | os.O_RDWR)),
    "a file cut": lambda c: os.truncate(file("kept"), 4),
    "a folder": lambda c: os.mkdir(file("folder")),
    "a folder less": lambda c: os.rmdir(file("old_folder")),
    "a second name": lambda c: os.link(file("kept"), file("twice")),
    "a link": lambda c: os.symlink("kept", file("link")),
    "a pipe with a name": lambda c: os.mkfifo(file("pipe")),
    "a file moved": lambda c: os.rename(file("moved"), file("moved_there")),
    "a file removed": lambda c: os.unlink(file("removed")),
    "modes": lambda c: os.chmod(file("kept"), 0o600),
    "modes of what is open": lambda c: with_open(lambda number: os.fchmod(number, 0o600)),
    "modes, newer call": lambda c: call(452, -100, file("kept").encode(), 0o600, 0),
    "owner": lambda c: os.chown(file("kept"), os.getuid(), os.getgid()),
    "times": lambda c: os.utime(file("kept"), (1, 1)),
    "times of what is open": lambda c: with_open(lambda number: os.utime(number, (1, 1))),
    "extended attribute": lambda c: os.setxattr(file("kept"), "user.x", b"x"),
    "attributes of a file": lambda c: with_open(flags),
    "attributes of a file, newer call": lambda c: call(469, -100, file("kept").encode(), bytes(24), 24, 0),
    "a lock": lambda c: with_open(lambda number: fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)),
    "a shared lock on a part": lambda c: with_open(lambda number: fcntl.lockf(number, fcntl.LOCK_SH)),
    "a file elsewhere": lambda c: Path(c["elsewhere"]).read_text(),
    "a folder elsewhere": lambda c: os.listdir(Path(c["elsewhere"]).parent),
    "a link to a file elsewhere": lambda c: Path(file("way_out")).read_text(),
    "a file upwards": lambda c: Path(file(f"../{Path(c['elsewhere']).name}")).read_text(),
    "environment of another process": lambda c: Path(f"/proc/{c['other']}/environ").read_bytes(),
    "pressure on memory": lambda c: Path("/proc/self/oom_score_adj").write_text("0"),
}


def with_open(do: Callable[[int], object]) -> None:
    number = os.open(file("kept"), os.O_RDONLY)
    try:
        do(number)
    finally:
        os.close(number)


def flags(number: int) -> None:
    """FS_IOC_GETFLAGS is of no use here: 0 is what a new file has."""
    fcntl.ioctl(number, 0x40086602, bytes(8))


# Sockets.
def tcp(kind: int = 0) -> socket.socket:
    return socket.socket(socket.AF_INET, socket.SOCK_STREAM, kind)


def fast_open(context: dict[str, Any]) -> None:
    with tcp() as one:
        one.sendto(b"x", socket.MSG_FASTOPEN, ("127.0.0.1", context["port"]))


def multipath(context: dict[str, Any]) -> None:
    with tcp(262) as one:
        one.connect(("127.0.0.1", context["port"]))


def listening(context: dict[str, Any]) -> None:
    with tcp() as one:
        one.listen()


def datagram(context: dict[str, Any]) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.sendto(b"x", ("127.0.0.1", context["port"]))


def local(where: str) -> None:
    with socket.socket(socket.AF_UNIX) as one:
        one.connect(where)


ATTEMPTS |= {
    "a TCP connection": lambda c: socket.create_connection(("127.0.0.1", c["port"]), 1).close(),
    "a TCP connection opened fast": fast_open,
    "a multipath connection": multipath,
    "listening without binding": listening,
    "a datagram": datagram,
    "a socket in the file system": lambda c: local(c["socket"]),
    "an abstract socket": lambda c: local("\0" + c["abstract"]),
    "two sockets": lambda c: list(map(socket.socket.close, socket.socketpair())),
    "a socket to the kernel": lambda c: socket.socket(socket.AF_NETLINK, socket.SOCK_RAW).close(),
    "a socket to the host of a virtual machine": lambda c: socket.socket(40, socket.SOCK_STREAM).close(),
    "a socket to the kernel's ciphers": lambda c: socket.socket(38, socket.SOCK_SEQPACKET).close(),
    "an asynchronous queue (io_uring)": lambda c: os.close(
        call(425, 1, ctypes.byref(ctypes.create_string_buffer(120)))
    ),
}


# Processes.
def fork(context: dict[str, Any]) -> None:
    number = os.fork()
    if number == 0:
        os._exit(0)
    os.waitpid(number, 0)


def thread(context: dict[str, Any]) -> None:
    other = threading.Thread(target=int)
    other.start()
    other.join()


@attempt("a process, by the newest call")
def clone3(context: dict[str, Any]) -> None:
    arguments = (ctypes.c_uint64 * 8)(0, 0, 0, 0, signal.SIGCHLD, 0, 0, 0)
    number = call(435, ctypes.byref(arguments), ctypes.c_size_t(64))
    if number == 0:
        os._exit(0)
    os.waitpid(number, 0)


@attempt("a process, by the oldest call")
def clone(context: dict[str, Any]) -> None:
    number = call((56, 220), signal.SIGCHLD, None, None, None, None)
    if number == 0:
        os._exit(0)
    os.waitpid(number, 0)


@attempt("a program in place of this one")
def execute(context: dict[str, Any]) -> None:
    with suppress(FileNotFoundError):  # the system would have started it
        os.execv("/nonexistent", ["nonexistent"])


@attempt("a signal by a handle")
def signal_by_handle(context: dict[str, Any]) -> None:
    number = os.pidfd_open(context["other"])
    signal.pidfd_send_signal(number, 0)


@attempt("files of another process")
def take_file(context: dict[str, Any]) -> None:
    number = os.pidfd_open(context["other"])
    os.close(call(438, number, 0, 0))


@attempt("signals sent by a pipe's end")
def owner(context: dict[str, Any]) -> None:
    fcntl.fcntl(0, fcntl.F_SETOWN, context["other"])


@attempt("trace another process")
def trace(context: dict[str, Any]) -> None:
    must(libc.ptrace(16, context["other"], None, None))
    os.waitpid(context["other"], 0x40000000)
    must(libc.ptrace(17, context["other"], None, None))


@attempt("memory of another process")
def peek(context: dict[str, Any]) -> None:
    """No bytes, which asks for leave all the same."""
    call((310, 270), context["other"], None, 0, None, 0, 0)


@attempt("limits of another process")
def limits(context: dict[str, Any]) -> None:
    kind = resource.RLIMIT_NOFILE
    resource.prlimit(context["other"], kind, resource.prlimit(context["other"], kind))


@attempt("limits of this process")
def own_limits(context: dict[str, Any]) -> None:
    kind = resource.RLIMIT_CORE
    resource.setrlimit(kind, resource.getrlimit(kind))


ATTEMPTS |= {
    "a process": fork,
    "a program": lambda c: subprocess.run(["/bin/true"], check=True),
    "a program, spawned": lambda c: os.waitpid(os.posix_spawn("/bin/true", ["true"], {}), 0),
    "a thread": thread,
    "a signal to the parent": lambda c: os.kill(os.getppid(), 0),
    "a signal to another process": lambda c: os.kill(c["other"], 0),
    "a signal with a value": lambda c: call((129, 138), c["other"], 0, struct.pack("iii116x", 0, 0, -1)),
    "rank of another process": lambda c: os.setpriority(
        os.PRIO_PROCESS, c["other"], os.getpriority(0, c["other"])
    ),
    "cores of another process": lambda c: os.sched_setaffinity(c["other"], os.sched_getaffinity(c["other"])),
    "open memory of another process": lambda c: Path(f"/proc/{c['other']}/mem").open("rb").close(),
    "outliving the parent": lambda c: must(libc.prctl(1, 0, 0, 0, 0)),
}

# The kernel.
ATTEMPTS |= {
    "memory with a name": lambda c: os.close(os.memfd_create("x")),
    "shared memory": lambda c: must(libc.shmctl(must(libc.shmget(0, 4096, 0o1600)), 0, None)),
    "a message queue": lambda c: must(libc.msgctl(must(libc.msgget(0, 0o1600)), 0, None)),
    "semaphores": lambda c: must(libc.semctl(must(libc.semget(0, 1, 0o1600)), 0, 0)),
    "a message queue with a name": lambda c: call(
        (240, 180), f"forelight{os.getpid()}".encode(), 0o102, 0o600, None
    ),
    "a pipe": lambda c: list(map(os.close, os.pipe())),
    "watching files": lambda c: os.close(must(libc.inotify_init1(0))),
    "another personality": lambda c: must(libc.personality(0)),
    "a program in the kernel": lambda c: os.close(
        call((321, 280), 0, (ctypes.c_uint32 * 18)(2, 4, 4, 1), 72)
    ),
    "counters of the processor": lambda c: os.close(
        call((298, 241), (ctypes.c_uint32 * 32)(1, 128), 0, -1, -1, 0)
    ),
    "faults of memory taken over": lambda c: os.close(call((323, 282), 1)),
    "a key for the kernel to keep": lambda c: call((248, 217), b"user", b"x", b"x", 1, -2),
}


@attempt("calls of 32 bits")
def narrow(context: dict[str, Any]) -> None:
    """`getpid` by the gate for programs of 32 bits, which counts its calls otherwise."""
    if COLUMN or platform.machine() != "x86_64":
        raise OSError(errno.ENOSYS, "only x86_64 has it")
    page = mmap.mmap(-1, 4096, prot=mmap.PROT_READ | mmap.PROT_WRITE | mmap.PROT_EXEC)
    page.write(bytes.fromhex("53b814000000cd805bc3"))  # push rbx; mov eax, 20; int 0x80; pop rbx; ret
    result = ctypes.CFUNCTYPE(ctypes.c_int)(ctypes.addressof(ctypes.c_char.from_buffer(page)))()
    if result < 0:
        raise OSError(-result, os.strerror(-result))
    assert result == os.getpid()


@attempt("calls with pointers of 32 bits")
def x32(context: dict[str, Any]) -> None:
    if COLUMN or platform.machine() != "x86_64":
        raise OSError(errno.ENOSYS, "only x86_64 has it")
    call(0x40000000 + 39)


@attempt("own namespaces")
def namespaces(context: dict[str, Any]) -> None:
    """The last, as nothing is this user's afterwards."""
    must(libc.unshare(0x10000000))


def results() -> dict[str, str]:
    """Of each attempt `done`, or the name of the error."""
    context = json.loads(Path(file("attempts.json")).read_text())
    found = {}
    for name, do in ATTEMPTS.items():
        try:
            do(context)
        except OSError as error:
            found[name] = errno.errorcode.get(error.errno or 0, "?")
        except RuntimeError as error:
            found[name] = str(error)
        else:
            found[name] = "done"
    return found


def report() -> None:
    print("RESULTS " + json.dumps(results()), flush=True)


if __name__ == "__main__":
    report()
