"""Runs a reader of sources in a process of its own, which ends with all that it started when it has run."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO, NamedTuple

from forelight.sim.allowance import MIB_VARIABLE, SECONDS_VARIABLE, Spent, bytes_left, seconds_left

#: Bytes of RTLIL, which is all that comes back of a reader.
BYTES_WRITTEN = 256 * 2**20
#: Bytes of what it may say beside, on standard error.
BYTES_SAID = 4 * 2**20
#: Remedies where a reader has reached a bound.
MORE_TIME = f"simplify the design, or set {SECONDS_VARIABLE} higher"
MORE_MEMORY = f"simplify the design, or set {MIB_VARIABLE} higher"
_PIECE = 2**16
#: Seconds that the rest of an ended process's output may take to arrive.
_REST = 5.0


class Share(NamedTuple):
    """What a reader may take: seconds, by the clock and of the processor, bytes of memory, and bytes of a file."""

    seconds: int
    memory: int
    written: int

    @staticmethod
    def left() -> Share:
        """What is left to this process of its own bounds; raises UsageError for one that is no number."""
        return Share(seconds_left(), bytes_left(), BYTES_WRITTEN)

    def own(self) -> tuple[int, int, int]:
        """What the reader sets itself: a net under the time that its parent gives it."""
        return self.seconds + 5, self.memory, self.written


class OutgrownError(Exception):
    """A child process that writes more than `most` bytes."""

    def __init__(self, most: int) -> None:
        super().__init__(f"more than {most} bytes of output")
        self.most = most


def run_child(
    command: Sequence[str],
    order: bytes,
    seconds: float,
    *,
    folder: Path | None = None,
    environment: Mapping[str, str] | None = None,
) -> subprocess.CompletedProcess[bytes]:
    """Give the order to standard input, and take what is printed, no more than BYTES_WRITTEN and BYTES_SAID.

    The processor time of a child that ends in time counts as that of this process. Raises
    `subprocess.TimeoutExpired` and OutgrownError. However it comes out, the process has ended then, and where the
    system has process groups, all that are in its group.
    """
    pipe, before = subprocess.PIPE, os.times()
    with subprocess.Popen(
        command, stdin=pipe, stdout=pipe, stderr=pipe, cwd=folder, env=environment, start_new_session=True
    ) as child:
        assert child.stdin and child.stdout and child.stderr
        late = threading.Event()

        def give_up() -> None:
            late.set()
            _end(child)

        timer = threading.Timer(seconds, give_up)
        taken = [
            _Taken(child, child.stdout, BYTES_WRITTEN),
            _Taken(child, child.stderr, BYTES_SAID),
        ]
        threads = [timer, *taken, threading.Thread(target=_give, args=(child.stdin, order))]
        try:
            for thread in threads:
                thread.daemon = True
                thread.start()
            _wait(child)
        finally:
            timer.cancel()
            _end(child)
        for thread in threads[1:]:
            thread.join(_REST)
    for stream in taken:
        if stream.outgrown:
            raise OutgrownError(stream.most)
    if late.is_set():
        raise subprocess.TimeoutExpired(command, seconds)
    after = os.times()
    Spent.of_children += sum(after[2:4]) - sum(before[2:4])
    return subprocess.CompletedProcess(command, child.returncode, *(b"".join(s.pieces) for s in taken))


class _Taken(threading.Thread):
    """Takes what a child writes, in pieces, and ends a child that writes too much."""

    def __init__(self, child: subprocess.Popen[bytes], stream: IO[bytes], most: int) -> None:
        super().__init__()
        self.child, self.stream, self.most = child, stream, most
        self.pieces: list[bytes] = []
        self.outgrown = False

    def run(self) -> None:
        left = self.most
        with suppress(
            OSError, ValueError
        ):  # closed, where something that was left behind holds the other end
            while piece := os.read(self.stream.fileno(), _PIECE):
                left -= len(piece)
                if left < 0:
                    self.outgrown = True
                    return _end(self.child)
                self.pieces.append(piece)


def _give(stream: IO[bytes], order: bytes) -> None:
    # Whoever uses this package may have given SIGPIPE back its default, which would end the whole program here.
    if hasattr(signal, "SIGPIPE"):
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGPIPE})
    with suppress(OSError):  # it may have ended without reading
        stream.write(order)
    with suppress(OSError):
        stream.close()


def _wait(child: subprocess.Popen[bytes]) -> None:
    """Wait for the end of a process, but leave its number to it where that is possible, for its group has it too."""
    if hasattr(os, "waitid"):
        with suppress(ChildProcessError):
            os.waitid(os.P_PID, child.pid, os.WEXITED | os.WNOWAIT)
    else:
        child.wait()


def _end(child: subprocess.Popen[bytes]) -> None:
    """End a process and its group; one that has been waited for has no number any more."""
    if child.returncode is not None and hasattr(os, "waitid"):
        return
    with suppress(OSError):
        if hasattr(os, "killpg"):
            os.killpg(child.pid, signal.SIGKILL)
        else:
            child.kill()
