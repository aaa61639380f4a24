"""Runs the tests of a room in processes of their own: which lines each test reaches, and whether one of them fails.

Whatever a process costs before its first test (the libraries) is paid once: children are forked from a process that
has loaded them. A child leads a group of its own, which ends with it and with its parent, and its time is counted in
seconds of the processor, so that a busy machine kills no mutant.
"""

from __future__ import annotations

import ast
import bisect
import ctypes
import hashlib
import itertools
import json
import multiprocessing
import os
import re
import resource
import signal
import sys
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

# Loaded for the children.
import amaranth.hdl
import coverage
import hypothesis
import llvmlite.binding
import numpy
import pytest

LOADED = (amaranth.hdl, llvmlite.binding, numpy)
#: Of the tests that reach a mutant, those that cost so many seconds together run before whole files do.
FIRST_SECONDS = 6.0


@dataclass
class Reached:
    """One file of tests without any mutant: seconds of each test, and which tests ran each line of each module."""

    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    failed: str = ""


def key(parts: Iterable[bytes]) -> str:
    return hashlib.sha256(b"".join(hashlib.sha256(part).digest() for part in parts)).hexdigest()


def spent() -> float:
    """Seconds of the processor of this process and its ended children."""
    return sum(os.times()[:4])


class Watch:
    """A plugin of pytest: what each test costs, the first that fails, and whose lines are being counted."""

    def __init__(self, counted: coverage.Coverage | None = None) -> None:
        self.counted = counted
        self.reached = Reached()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        if self.counted:
            self.counted.switch_context(item.nodeid)
        began = spent()
        try:
            return (yield)
        finally:
            self.reached.seconds[item.nodeid] = spent() - began

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.reached.failed:
            self.reached.failed = f"{report.nodeid}\n{report.longreprtext}"


@dataclass
class Child:
    """Runs one function after another in a process forked from this one, in a checkout of its own."""

    clone: Path
    cache: Path

    def _enter(self, keep: bool) -> None:
        os.setsid()
        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG of Linux: ends with its parent
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        root = str(Path(__file__).resolve().parents[2])
        sys.path[:] = [
            str(self.clone),
            str(self.clone / ".typing"),
            *(path for path in sys.path if path and not path.startswith(root)),
        ]
        for name in [name for name in sys.modules if re.match(r"tests(?!\.mutation)\b", name)]:
            del sys.modules[name]
        os.chdir(self.clone)
        os.environ |= {"PYTHONPATH": str(self.clone / ".typing"), "FORELIGHT_CACHE": str(self.cache)}
        sys.dont_write_bytecode = not keep
        if not keep:  # a file that changes twice within a second must not be taken from its compiled text
            os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
        with Path(os.devnull).open("r+b") as nothing:
            for stream in range(3):
                os.dup2(nothing.fileno(), stream)
        hypothesis.settings.register_profile(
            "mutation",
            phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
            max_examples=50,
            derandomize=True,
            deadline=None,
            database=None,
        )
        hypothesis.settings.load_profile("mutation")

    def run(self, keep: bool, seconds: float, function: Callable[[], Any]) -> Any:
        """The function's answer; None if its process ended without one, `seconds` being spent or not."""

        def inside(pipe: Connection) -> None:
            self._enter(keep)
            limit = int(spent() + seconds) + 1
            resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
            pipe.send(function())
            pipe.close()
            os._exit(0)

        fork = multiprocessing.get_context("fork")
        ours, theirs = fork.Pipe()
        process = fork.Process(target=inside, args=(theirs,))
        process.start()
        theirs.close()
        try:
            # A process that waits for another for ever spends nothing.
            return ours.recv() if ours.poll(60 + 6 * seconds) else None
        except EOFError:
            return None
        finally:
            with suppress(ProcessLookupError):
                os.killpg(process.pid or 0, signal.SIGKILL)
            process.kill()
            process.join()


def tested(tests: Sequence[str], counted: coverage.Coverage | None = None) -> Watch:
    watch = Watch(counted)
    code = pytest.main(
        ["-q", "-x", "-p", "no:cacheprovider", "-p", "no:faulthandler", *tests], plugins=[watch]
    )
    if code == pytest.ExitCode.USAGE_ERROR and "::" in "".join(
        tests
    ):  # with the mutant a test goes by another name
        return tested([*dict.fromkeys(name.partition("::")[0] for name in tests)], counted)
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED) and not watch.reached.failed:
        watch.reached.failed = f"pytest ends with {code}"
    return watch


def reach(test: str, files: Iterable[Path], clone: Path) -> Reached:
    """One file of tests, and what it reaches of these modules."""
    counted = coverage.Coverage(data_file=None, include=[str(path) for path in files], config_file=False)
    counted.start()
    watch = tested([test], counted)
    counted.stop()
    data = counted.get_data()
    for path in data.measured_files():
        lines = data.contexts_by_lineno(path)
        module = str(Path(path).relative_to(clone))
        watch.reached.lines[module] = {str(line): names for line, names in lines.items()}
    return watch.reached


def statement(source: str, line: int) -> range:
    """Lines of the innermost statement on this line, without what stands inside of it."""
    found = range(line, line + 1)
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            last = body[0].lineno - 1 if body else node.end_lineno or node.lineno
            if node.lineno <= line <= last:
                found = range(node.lineno, last + 1)
    return found


@dataclass
class Trial:
    """The tests of one room, measured without any mutant."""

    child: Child
    files: tuple[Path, ...]
    tests: tuple[str, ...]
    #: Keeps what was measured, for as long as neither the file of tests nor the room changes.
    kept: Path | None = None
    reached: dict[str, Reached] = field(default_factory=dict)

    def measure(self) -> None:
        """Run every file of tests once; SystemExit if one fails."""
        room = key(path.read_bytes() for path in self.files)
        for test in self.tests:
            place = self.kept and self.kept / key(
                (room.encode(), test.encode(), (self.child.clone / test).read_bytes())
            )
            if place and place.exists():
                self.reached[test] = Reached(**json.loads(place.read_text("utf-8")))
                continue
            found = self.child.run(True, 3600, lambda test=test: reach(test, self.files, self.child.clone))  # type: ignore[misc]
            if found is None or found.failed:
                raise SystemExit(f"{test} fails without any mutant: {found and found.failed}")
            self.reached[test] = found
            if place:
                place.write_text(json.dumps(vars(found)), "utf-8")

    def seconds(self) -> float:
        return sum(sum(found.seconds.values()) for found in self.reached.values())

    def _reaching(self, path: Path, line: int) -> tuple[list[str], list[str]]:
        """Tests that ran this line (all that ran its module, where only the import did), and their files."""
        wanted = statement(path.read_text("utf-8"), line)
        module = str(path.relative_to(self.child.clone))
        tests: list[str] = []
        files: list[str] = []
        for test, found in self.reached.items():
            lines = found.lines.get(module, {})
            names = {name for number in wanted for name in lines.get(str(number), ())}
            if names == {""}:
                names = {name for some in lines.values() for name in some}
            if names:
                files.append(test)
                tests += names - {""}
        near = f"test_{path.stem}.py"
        costs = self._costs()
        for some in (tests, files):
            some.sort(key=lambda name: (near not in name, costs[name]))
        return tests, files

    def _costs(self) -> dict[str, float]:
        """Seconds of each test and of each file."""
        files = {name: sum(found.seconds.values()) for name, found in self.reached.items()}
        return files | {name: cost for found in self.reached.values() for name, cost in found.seconds.items()}

    def killed(self, path: Path, line: int, whole: bool = False) -> str:
        """What killed the mutant that now stands on this line of this module; empty if it survives.

        `whole` runs whole files at the end: a test that looks at what an earlier one has computed and kept is not
        seen to reach the line. A line that only a process of its own runs is not seen to be reached either.
        """
        tests, files = self._reaching(path, line)
        costs = self._costs()
        spent_by = [*itertools.accumulate(costs[name] for name in tests)]
        first = max(1, bisect.bisect(spent_by, FIRST_SECONDS))
        for some in (tests[:first], files if whole else tests[first:]):
            if not some:
                continue
            limit = 15 + 3 * sum(costs[name] for name in some)
            found = self.child.run(False, limit, lambda some=some: tested(some).reached.failed)  # type: ignore[misc]
            if found is None:
                return f"more than {limit:.0f} s, or the end of the process"
            if found:
                return str(found).partition("\n")[0]
        return ""
