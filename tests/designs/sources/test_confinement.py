"""What a design in Python cannot do though it is run: each attempt succeeds when free, and fails confined."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import socket
import struct
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator
from contextlib import redirect_stderr
from io import StringIO
from pathlib import Path
from textwrap import dedent

import pytest
from forelight.designs.sources import child_process, python_apart, system_calls
from forelight.designs.sources.child_process import run_child
from forelight.designs.sources.python_apart import left_open, rtlil_apart
from forelight.designs.sources.system_calls import (
    CALLS,
    CHECKED,
    PROCESSORS,
    Instruction,
    program,
)
from forelight.sim import allowance
from forelight.sim.errors import SourceError
from system_calls import syscalls

from . import attempts

LAMP = """\
{first}
from amaranth.hdl import *
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

class Lamp(wiring.Component):
    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform):
        m = Module()
        m.d.comb += self.outputs.eq(self.inputs ^ 0x55)
        return m
"""
LINUX = pytest.mark.skipif(sys.platform != "linux", reason="it is Linux that confines")
CONFINED = pytest.mark.skipif(bool(left_open()), reason="this system has no Landlock or no filter of calls")
#: What a refusal looks like; ENOSYS is that of calls which the C library can do without.
REFUSED = {"EPERM", "EACCES", "ENOSYS", "can't start new thread"}


def prepare(folder: Path, elsewhere: Path) -> None:
    """The files that attempts are made on, in a new folder."""
    folder.mkdir()
    shutil.copy(attempts.__file__, folder)
    for name in ("kept", "moved", "removed"):
        (folder / name).write_text("kept")
    (folder / "old_folder").mkdir()
    (folder / "way_out").symlink_to(elsewhere)
    (folder / "lamp.py").write_text(LAMP.format(first="import attempts\nattempts.report()"))


def taken_from(text: str) -> dict[str, str]:
    found: dict[str, str] = json.loads(text.partition("RESULTS ")[2].partition("\n")[0])
    return found


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, str], dict[str, str], Path]:
    """What became of each attempt in a program that runs freely and in a design, and the folder of the latter."""
    base = tmp_path_factory.mktemp("c")
    elsewhere = base / "elsewhere"
    elsewhere.write_text("secret")
    tcp, unix, abstract = (
        socket.socket(family) for family in (socket.AF_INET, socket.AF_UNIX, socket.AF_UNIX)
    )
    tcp.bind(("127.0.0.1", 0))
    unix.bind(os.path.relpath(base / "socket"))  # such names are short
    abstract.bind(f"\0forelight {os.getpid()}")
    for one in (tcp, unix, abstract):
        one.listen(50)
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as other:
        context = {
            "other": other.pid,
            "port": tcp.getsockname()[1],
            "socket": os.path.relpath(base / "socket"),
            "abstract": f"forelight {os.getpid()}",
            "elsewhere": str(elsewhere),
        }
        for folder in (base / "free", base / "confined"):
            prepare(folder, elsewhere)
            (folder / "attempts.json").write_text(json.dumps(context))
        free = subprocess.run(
            [sys.executable, str(base / "free/attempts.py")],
            stdin=subprocess.PIPE,
            capture_output=True,
            text=True,
            check=True,
        )
        with redirect_stderr(StringIO()) as said:
            rtlil_apart(base / "confined/lamp.py")
        other.communicate(b"\n")
    for one in (tcp, unix, abstract):
        one.close()
    return taken_from(free.stdout), taken_from(said.getvalue()), base / "confined"


@CONFINED
@pytest.mark.parametrize("name", attempts.ATTEMPTS)
def test_an_attempt_fails(name: str, outcomes: tuple[dict[str, str], dict[str, str], Path]) -> None:
    free, confined, _ = outcomes
    assert free[name] == "done" or name in attempts.NOT_EVERYWHERE
    assert confined[name] in REFUSED


@CONFINED
def test_nothing_is_changed(outcomes: tuple[dict[str, str], dict[str, str], Path]) -> None:
    folder = outcomes[2]
    there = {path.name for path in folder.iterdir()}
    assert there == {
        "attempts.json", "attempts.py", "kept", "lamp.py", "moved", "old_folder", "removed", "way_out",
    }  # fmt: skip
    assert (folder / "kept").read_text() == "kept" and (folder / "kept").stat().st_mtime > 1e9


@pytest.mark.parametrize("processor", PROCESSORS)
def test_the_calls_that_are_left(processor: str) -> None:
    """By the tables of another project: those named are the ones allowed, on both processors, and no others are."""
    mark, column = PROCESSORS[processor]
    tables = syscalls()
    numbers = {}
    for name, both in CALLS.items():
        number = both[column]
        if number is None:
            assert name not in tables.load_arch_table(processor.replace("aarch64", "arm64"))
        else:
            assert tables.get(name, processor.replace("aarch64", "arm64")) == number
            numbers[number] = name
    rule = program(processor, 77)
    for number in [*range(700), *(0x40000000 + number for number in range(700)), 2**32 - 1]:
        name = numbers.get(number, "")
        for arguments in ([0] * 6, [77] * 6, [3] * 6, [0x5401] * 6, [0o100] * 6, [2**31] * 6):
            allowed = verdict(rule, mark, number, arguments) == 0x7FFF0000
            if name in CHECKED:
                at, bits, values = CHECKED[name]
                assert allowed == (arguments[at] & bits in (values or (77,)))
            else:
                assert allowed == bool(name)
        assert verdict(rule, 0x40000003, number, [0] * 6) == 0x00050000 | errno.EPERM


def verdict(rule: list[Instruction], mark: int, number: int, arguments: list[int]) -> int:
    """What the kernel's machine for packet filters makes of one call (`linux/seccomp.h`, struct seccomp_data)."""
    data = struct.pack("<IIQ6Q", number, mark, 0, *arguments)
    held, at = 0, 0
    while True:
        code, if_true, if_false, value = rule[at]
        at += 1
        if code == 0x20:
            (held,) = struct.unpack_from("<I", data, value)
        elif code == 0x54:
            held &= value
        elif code in (0x15, 0x35):
            at += if_true if (held == value if code == 0x15 else held >= value) else if_false
        else:
            assert code == 0x06
            return value


def lamp(folder: Path, first: str) -> Path:
    path = folder / "lamp.py"
    path.write_text(LAMP.format(first=first))
    return path


@LINUX
def test_what_it_prints_without_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the reader's memory nor the terminal takes more than a bound, whichever stream it is."""
    monkeypatch.setattr(child_process, "BYTES_SAID", 2**20)
    tracemalloc.start()
    for number in (1, 2):
        path = lamp(tmp_path, f"import os\nwhile True: os.write({number}, bytes(2**16))")
        with pytest.raises(SourceError, match="writes more than 1 MiB"):
            rtlil_apart(path)
    assert tracemalloc.get_traced_memory()[1] < 8 * 2**20
    tracemalloc.stop()


@CONFINED
def test_an_answer_that_is_none(tmp_path: Path) -> None:
    """The design can write to what the answer goes to, so nothing is taken for granted there."""
    for answer in ("", '{"error": [1]}', "[" * 100_000):
        first = f"""
            import os
            for number in range(3, 20):
                try:
                    os.write(number, {answer.encode()!r})
                except OSError:
                    pass
            os._exit(0)
        """
        with pytest.raises(SourceError, match="no RTLIL into the answer"):
            rtlil_apart(lamp(tmp_path, dedent(first)))


@LINUX
def test_what_is_left_behind_ends(tmp_path: Path) -> None:
    """A process that the child started, and that holds its output open, ends with it; both without confinement."""
    code = """
        import os, sys, time
        if os.fork() == 0:
            time.sleep(60)
        print(os.getpid(), flush=True)
        if sys.argv[1:]:
            time.sleep(60)
    """
    command = [sys.executable, "-c", dedent(code)]
    began = time.monotonic()
    done = run_child(command, b"", 30)
    group = int(done.stdout)
    wait_for_end(group)
    with pytest.raises(subprocess.TimeoutExpired):
        run_child([*command, "stay"], b"", 1)
    assert time.monotonic() - began < 20


def test_its_time_counts_as_that_of_who_started_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(allowance.Spent, "of_children", 0.0)
    monkeypatch.setattr(allowance.Spent, "counted", True)
    code = "import time\nwhile time.process_time() < 1.2: pass"
    before, left = allowance.spent(), allowance.seconds_left()
    assert run_child([sys.executable, "-c", code], b"", 60).returncode == 0
    assert allowance.spent() - before > 1.1  # the system may count in ticks of a hundredth of a second
    assert allowance.seconds_left() in (left - 1, left - 2, left - 3)
    monkeypatch.setenv(allowance.SECONDS_VARIABLE, "1")
    assert allowance.seconds_left() == 1, "what has none left may say so"
    monkeypatch.setattr(allowance.Spent, "counted", False)
    monkeypatch.setenv(allowance.SECONDS_VARIABLE, "77")
    assert allowance.seconds_left() == 77, "in a program of somebody else's each has all of it"


def wait_for_end(group: int) -> None:
    until = time.monotonic() + 10
    while [state for state in states(group) if state != "Z"]:
        assert time.monotonic() < until
        time.sleep(0.02)


def states(group: int) -> Iterator[str]:
    """Of each process of a group, its letter in `/proc`."""
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group:
            yield fields[0]


@CONFINED
def test_it_ends_with_the_one_that_reads(tmp_path: Path) -> None:
    """However that ends; with SIGKILL it cannot do anything more about it."""
    path = lamp(tmp_path, "while True: pass")
    code = f"""
        import subprocess, sys
        from pathlib import Path
        from forelight.designs.sources.python_apart import rtlil_apart
        start = subprocess.Popen
        def told(*arguments, **options):
            child = start(*arguments, **options)
            print(child.pid, flush=True)
            return child
        subprocess.Popen = told
        rtlil_apart(Path({str(path)!r}))
    """
    with subprocess.Popen([sys.executable, "-c", dedent(code)], stdout=subprocess.PIPE, text=True) as reader:
        assert reader.stdout is not None
        group = int(reader.stdout.readline())
        until = time.monotonic() + 10
        while "R" not in states(group) and time.monotonic() < until:
            time.sleep(0.02)
        time.sleep(0.5)  # it has imported what it needs
        assert list(states(group)) == ["R"]
        reader.send_signal(signal.SIGKILL)
    wait_for_end(group)


@LINUX
def test_a_network_of_its_own() -> None:
    """For processors whose calls are not known here; some systems let nobody make one."""
    code = """
        import socket, sys
        from forelight.designs.sources.confinement import leave_the_network
        left = leave_the_network() if sys.argv[2:] else False
        try:
            socket.socket().connect(("127.0.0.1", int(sys.argv[1])))
        except OSError:
            print(left, "refused")
        else:
            print(left, "connected")
    """
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        found = [
            subprocess.run(
                [sys.executable, "-c", dedent(code), str(server.getsockname()[1]), *more],
                capture_output=True,
                text=True,
                check=True,
            ).stdout.strip()
            for more in ([], ["leave"])
        ]
    assert found[0] == "False connected"
    assert found[1] in ("True refused", "False connected")


@pytest.mark.parametrize(
    ("landlock", "calls", "words"),
    [
        (0, True, "this system has no Landlock to keep it from reading what you can read"),
        (3, False, "this system cannot keep it from the network, or from changing modes and times of files"),
        (0, False, "this system cannot keep it from anything that you can do"),
    ],
)
def test_an_old_system_says_so_first(
    landlock: int,
    calls: bool,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(python_apart, "landlock_version", lambda: landlock)
    monkeypatch.setattr(system_calls, "can_be_kept", lambda: calls)
    left_open.cache_clear()
    try:
        path = lamp(tmp_path, "print('runs')")
        rtlil_apart(path)
        assert capfd.readouterr().err == f"note: {path} is a program, and {words}\nruns\n"
    finally:
        left_open.cache_clear()


#: Bounds as a class server may set them (bash's `ulimit`), and what they are with ours beside.
BELOW = "-v 1500000 -n 40 -t 50 -s 4096 -f 100000 -u 5000"
EXPECTED_BELOW = {
    "AS": 1_500_000 * 1024,
    "NOFILE": 40,
    "CPU": 50,
    "STACK": 4096 * 1024,
    "FSIZE": 100_000 * 1024,
    "NPROC": 0,
}
EXPECTED = {"AS": 2**32, "NOFILE": 256, "CPU": 65, "FSIZE": 2**28, "NPROC": 0}


@LINUX
@pytest.mark.parametrize(
    ("given", "expected"),
    [(BELOW, EXPECTED_BELOW), ("-c 0", EXPECTED), ("-Sv 1500000", EXPECTED | {"AS": 1_500_000 * 1024})],
)
def test_limits_below_ours_stay(given: str, expected: dict[str, int], tmp_path: Path) -> None:
    code = """
        import resource, sys
        from pathlib import Path
        from forelight.designs.sources.confinement import limit
        from forelight.designs.sources.python_apart import rtlil_apart
        from forelight.designs.sources.verilog import verilog_rtlil
        rtlil_apart(Path("lamp.py"))
        verilog_rtlil(["lamp.v"])
        limit(65, 2**32, 2**28, processes=0)
        print({name: resource.getrlimit(getattr(resource, f"RLIMIT_{name}"))[0] for name in sys.argv[1:]})
    """
    lamp(tmp_path, "")
    source = "module lamp(input inputs, output outputs);\n  assign outputs = inputs;\nendmodule\n"
    (tmp_path / "lamp.v").write_text(source)
    done = subprocess.run(
        ["bash", "-c", f'ulimit {given} && exec "$@"', "-", sys.executable, "-c", dedent(code), *expected],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"FORELIGHT_CACHE": str(tmp_path / "cache")},
    )
    assert done.stdout == f"{expected}\n", done.stderr
