"""An answer that was given before is given again, byte for byte, as long as nothing that it depends on has changed."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.harness.asking import question
from forelight.harness.cli import cli
from forelight.harness.terminal import answered, output
from forelight.harness.terminal.keys import keys
from forelight.sim.disk_cache import Door
from forelight.sim.errors import UsageError
from forelight.sim.files import INPUTS, write_whole

#: Variables that change no answer: where things are kept, a value that is among what was asked, completion in a shell.
ELSEWHERE = {"FORELIGHT_CACHE", "XDG_CACHE_HOME", "HOME", "FORELIGHT_WHO", "_CLI_COMPLETE"}


@pytest.fixture(autouse=True)
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The door open, nothing kept behind it, and the person in a folder of their own."""
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(Door, "open", True)
    monkeypatch.setattr(INPUTS, "minded", True)
    monkeypatch.setattr(INPUTS, "_read", set())
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package of one file that stands for Forelight's own."""
    place = tmp_path / "package"
    place.mkdir()
    (place / "code.py").write_text("one")
    monkeypatch.setattr(answered, "PACKAGE", place)
    return place


class Command:
    """A command that counts how often it is carried out, and does what it is told beside its answer."""

    def __init__(self) -> None:
        self.times = 0
        self.also: Callable[[], object] = lambda: None
        self.code = 0

        def tell(**asked: object) -> int:
            self.times += 1
            self.also()
            output.emit("words\n")
            output.emit_bytes(b"\x00bytes\r\n")
            output.warn("aside")
            return self.code

        self.run = answered.answered(tell)

    def again(self, **asked: object) -> bool:
        """Whether it answers without being carried out, once it has answered before."""
        asked = {"slot": "tide_gauge", "board": "quay", **asked}
        self.run(**asked)
        before = self.times
        self.run(**asked)
        return self.times == before


@pytest.mark.usefixtures("package")
def test_what_was_drawn_on_another_width_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    command = Command()
    for times in (1, 2):
        monkeypatch.setenv("COLUMNS", "80")
        command.also = lambda: monkeypatch.setenv("COLUMNS", "33")
        command.run(slot="tide_gauge", board="quay")
        assert command.times == times


@pytest.mark.usefixtures("package")
def test_the_same_words_on_the_same_streams(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert Command().again()
    said = capfdbinary.readouterr()
    assert said.out == 2 * b"words\n\x00bytes\r\n"
    assert said.err == 2 * b"aside\n"


def test_what_it_depends_on(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each change alone has it worked out anew."""
    command, file = Command(), package / "code.py"

    def anew(**asked: object) -> bool:
        before = command.times
        command.run(**{"slot": "tide_gauge", "board": "quay", "seed": 0} | asked)
        return command.times > before

    assert anew() and not anew()
    assert anew(seed=1) and anew(board="mole") and anew(slot="dice")
    stamp = file.stat()
    while file.stat().st_ctime_ns == stamp.st_ctime_ns:  # the system's own clock goes in some milliseconds
        file.write_text("two")
        os.utime(file, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert anew()  # same length, same time
    (package / "new.toml").write_text("")
    assert anew()
    (package / "new.toml").rename(package / "other.toml")
    assert anew()
    monkeypatch.setenv("NO_COLOR", "1")
    assert anew()
    monkeypatch.setattr(sys, "version", "another")
    assert anew()
    monkeypatch.setattr(answered, "LIBRARIES", ("numpy",))
    assert anew()
    assert not anew()


def test_what_is_not_kept(package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = tmp_path / "dice2"
    own.mkdir()
    for asked in (
        {"slot": "./tide_gauge"},
        {"slot": str(own)},
        {"slot": "dice2"},
        {"slot": "blink.v"},
        {"board": "quay.toml"},
        {"procedure": Path("mine.toml")},
        {"play": Path("hands.csv")},
        {"notebook": Path("quay.survey")},
    ):
        assert not Command().again(**asked), asked

    def with_keys() -> None:
        with keys():
            pass

    def meanwhile() -> None:
        (package / "code.py").write_text("x" * command.times)

    monkeypatch.setattr(answered, "LARGEST", 10_000)
    for also in (with_keys, meanwhile, lambda: output.emit("x" * 10_001)):
        command = Command()
        command.also = also
        assert not command.again(), also
    command = Command()
    command.code = 1
    assert not command.again()
    monkeypatch.setattr(Door, "open", False)
    assert not Command().again()


@pytest.mark.usefixtures("package")
def test_what_was_read_is_not_written_over_later_either(tmp_path: Path) -> None:
    source, target = tmp_path / "source", tmp_path / "target"
    source.write_text("read")

    def write() -> None:
        INPUTS.note(source)
        write_whole(target, b"written")

    command = Command()
    command.also = write
    assert command.again()
    target.unlink()
    target.symlink_to(source)
    with pytest.raises(UsageError, match="was read as an input"):
        command.again()
    assert source.read_text() == "read"


def told(*arguments: str) -> tuple[bytes, dict[str, bytes]]:
    """All that a command says on both streams, and its files, which are taken away."""
    result = CliRunner(env={"COLUMNS": "100"}).invoke(cli, arguments)
    assert result.exit_code == 0, result.output
    files = {}
    for path in Path().glob("out.*"):
        files[path.name] = path.read_bytes()
        path.unlink()
    return result.output_bytes, files


@pytest.mark.parametrize(
    "line",
    [
        "show tide_gauge --seconds 2",
        "show 101 --json --watch level",
        "show tide_gauge -o out.html --seconds 1",
        "golden dice",
        "golden tide_gauge -o out.csv --seconds 2",
        "golden 101 -o out.vcd --json --coverage",
        "card tide_gauge -o out.html",
        "card tide_gauge --json",
        "listen ferry_whistle --seconds 1 -o out.wav",
    ],
)
def test_kept_or_worked_out_it_is_the_same(line: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second answer comes though nothing can be worked out any more."""
    first = told(*line.split())
    assert ("out." in line) == bool(first[1])

    def refuse(*_: object) -> None:
        raise AssertionError("worked out once more")

    monkeypatch.setattr(question, "load_board", refuse)
    assert told(*line.split()) == first


def test_every_variable_that_is_looked_at_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """What Forelight and Rich look up while an answer is worked out is a part of the answer's name."""
    seen: set[str] = set()
    real = os._Environ.__getitem__

    def look(self: os._Environ[str], name: str) -> str:
        seen.add(str(name))
        return real(self, name)

    lines = ("show tide_gauge --seconds 1", "golden tide_gauge --seconds 1", "card tide_gauge")
    with monkeypatch.context() as closed:
        closed.setattr(Door, "open", False)
        for line in lines:  # libraries look for more while they are loaded, which changes no answer
            told(*line.split())
    monkeypatch.setattr(os._Environ, "__getitem__", look)
    for line in lines:
        told(*line.split())
    assert "COLUMNS" in seen
    assert seen - set(answered.SURROUNDINGS) <= ELSEWHERE


def test_a_kept_answer_needs_nothing_that_works_it_out() -> None:
    """In a process of its own: neither the engine nor any library but Click is loaded for it."""
    code = (
        "import atexit, sys\n"
        "heavy = 'numpy', 'llvmlite', 'amaranth', 'rich', 'scipy', 'forelight.sim.netlist'\n"
        "atexit.register(lambda: print([name for name in heavy if name in sys.modules], file=sys.stderr))\n"
        "from forelight.harness.cli import main; main()"
    )
    said = []
    for _ in range(2):
        command = [sys.executable, "-c", code, "golden", "tide_gauge", "--seconds", "1"]
        done = subprocess.run(command, capture_output=True, check=True)
        said.append((done.stdout, done.stderr.splitlines()[-1]))
    assert said[0][0] == said[1][0]
    assert b"numpy" in said[0][1]
    assert said[1][1] == b"[]"
