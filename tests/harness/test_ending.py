"""However a command is ended, files are all old or all new, nothing else is left, and nobody sees a traceback.

`python -m tests.harness.test_ending` ends commands that write 300 times, at random instants.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path

import pytest
from forelight.harness.survey.notebook import reading

SEED = 20_32
MAIN = "from forelight.harness.start import main; main()"
#: Commands that write, and the files that each of them leaves.
WRITERS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "golden": (("golden", "tide_gauge", "--seconds", "400", "-o", "g.csv"), ("g.csv", "g.toml")),
    "vcd": (("golden", "dice", "-o", "g.vcd"), ("g.vcd",)),
    "listen": (("listen", "ferry_whistle", "--seconds", "3", "-o", "w.wav"), ("w.wav",)),
    "card": (("card", "tide_gauge", "-o", "c.html"), ("c.html",)),
    "picture": (("show", "tide_gauge", "-o", "s.svg"), ("s.svg",)),
    "wall": (("wall", "--seconds", "1", "-o", "w.svg"), ("w.svg",)),
    "survey": (("card", "tide_gauge", "--survey", "q.survey"), ("q.survey",)),
    "draft": (("draft", "night_light"), ("night_light/datasheet.toml", "night_light/design.py")),
    "exercise": (("check", "tide_gauge", "--exercise", "2", "-o", "e.csv"), ("e.csv",)),
    "report": (("survey", "report", "given.survey", "-o", "r.html"), ("r.html",)),
}
#: The notebook that one of them reads.
GIVEN = "given.survey"
#: What SQLite takes back when the notebook is opened again.
JOURNAL = "q.survey-journal"
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def started(arguments: tuple[str, ...], folder: Path, **options: object) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "FORELIGHT_STATE": str(folder / "state")}
    command = [sys.executable, "-c", MAIN, *arguments]
    return subprocess.Popen(  # type: ignore[call-overload,no-any-return]
        command, cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options
    )


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def interrupted(name: str, number: int, folder: Path, lasts: float, rng: random.Random) -> Counter[str]:
    """One command, ended after a time by chance: what is in the folder then is all old, all new, or all absent."""
    arguments, files = WRITERS[name]
    old = bool(rng.getrandbits(1)) and name not in ("draft", "survey")
    if old:
        for file in files:
            (folder / file).write_bytes(b"old")
    process = started(arguments, folder)
    after = rng.uniform(0.1, 1.05) * lasts
    time.sleep(after)
    process.send_signal(number)
    _, told = process.communicate(timeout=60)
    said = f"seed {SEED}, {name}, {signal.Signals(number).name} after {after:.3f} s: {told.decode()}"
    assert process.returncode in (0, 128 + number, -number), said
    # Until the entry point is read Python answers an interrupt by itself.
    assert b"Traceback" not in told or (number == signal.SIGINT and b"/harness/" not in told), said
    assert b"fault of the program" not in told, said
    if name == "survey" and (folder / "q.survey").exists():
        with reading(folder / "q.survey") as notebook:
            assert len(notebook.attempts()) <= 1, said
    found = contents(folder)
    for file in (JOURNAL, GIVEN):
        found.pop(file, None)
    assert set(found) <= set(files), f"{said} left {set(found) - set(files)}"
    new = [file for file in files if found.get(file, b"old") != b"old"]
    assert len(new) in (0, len(files)), f"{said} left {new} new and the others not"
    if process.returncode == 0:
        assert len(new) == len(files), said
    return Counter(
        {
            "ended": int(process.returncode != 0),
            "before it heard signals": int(process.returncode == -number),
            "new": int(bool(new)),
            "old": int(old and not new),
        }
    )


def storm(folder: Path, count: int) -> Counter[str]:
    rng, total, lasts = random.Random(SEED), Counter[str](), dict[str, float]()
    given = started(("card", "dice", "--survey", GIVEN), folder)
    assert given.communicate() and given.returncode == 0
    for number in range(count):
        name = list(WRITERS)[number % len(WRITERS)]
        place = folder / str(number)
        place.mkdir()
        if name == "report":
            shutil.copy(folder / GIVEN, place)
        if name not in lasts:
            begun = time.monotonic()
            process = started(WRITERS[name][0], place)
            process.communicate()
            assert process.returncode == 0, name
            lasts[name] = time.monotonic() - begun
            for file in WRITERS[name][1]:
                (place / file).unlink()
            if name == "draft":
                (place / "night_light").rmdir()
        found = interrupted(name, rng.choice(SIGNALS), place, lasts[name], rng)
        if not found["ended"]:
            lasts[name] *= (
                0.8  # it was over before: on a machine that is shared, the first one may have waited
            )
        total += found
    return total


@pytest.mark.slow
def test_several_processes_end_together(tmp_path: Path) -> None:
    """All that `golden --all` started is gone with it, whenever that is."""
    rng = random.Random(SEED)
    for number in SIGNALS:
        process = started(("golden", "--all"), tmp_path, start_new_session=True)
        time.sleep(rng.uniform(1, 4))
        process.send_signal(number)
        out, told = process.communicate(timeout=60)
        assert (process.returncode, out, told) == (128 + number, b"", b"")
        until = time.monotonic() + 10
        while of_session(process.pid):
            assert time.monotonic() < until, of_session(process.pid)
            time.sleep(0.05)


def of_session(leader: int) -> list[str]:
    """The commands of the processes of a session that have not ended."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            state, _, _, session = (place / "stat").read_text().rpartition(") ")[2].split()[:4]
            if int(session) == leader and state != "Z":
                found.append((place / "cmdline").read_text())
    return found


@pytest.mark.slow
def test_signals_at_random_instants(tmp_path: Path) -> None:
    total = storm(tmp_path, 42)
    print(f"seed {SEED}: {dict(total)}")
    assert total["ended"] > 10


#: Native code that goes on for an hour, and that a signal does not break off.
BUSY = """
from forelight.harness.ending import end_in_order
from forelight.sim.files import unfinished
from pathlib import Path
import hashlib
end_in_order()
with unfinished(Path("half")) as half:
    half.write_text("half")
    print("begun", flush=True)
    hashlib.pbkdf2_hmac("sha256", b"", b"", 2**31 - 1)
"""


@pytest.mark.parametrize("number", SIGNALS)
def test_one_that_is_ended_in_a_long_call_of_native_code(number: int, tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", BUSY], cwd=tmp_path, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"begun\n"
        process.send_signal(number)
        try:
            assert process.wait(timeout=60) == 128 + number
        finally:
            process.kill()
    assert not list(tmp_path.iterdir())


def test_one_that_is_ended_while_it_writes(tmp_path: Path) -> None:
    """Its output is a pipe that nobody reads, so it is in the middle of writing for certain."""
    process = started(("golden", "dice", "-o", "-"), tmp_path)
    assert process.stdout is not None
    process.stdout.read(1000)
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=30) == 128 + signal.SIGTERM
    assert process.stderr is not None and process.stderr.read() == b""


@pytest.mark.parametrize("way", ["full", "closed", "full and unbuffered"])
def test_an_answer_that_cannot_be_written_is_an_error_in_one_sentence(way: str, tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    environment = {**os.environ, **({"PYTHONUNBUFFERED": "1"} if "unbuffered" in way else {})}
    where = ">&-" if way == "closed" else ">/dev/full"
    shell = f'exec "$0" -c "{MAIN}" golden tide_gauge -o - {where}'
    ended = subprocess.run(
        ["sh", "-c", shell, sys.executable], env=environment, capture_output=True, check=False
    )
    said = "is closed" if way == "closed" else "cannot be written: no space left on device"
    assert ended.returncode == 2
    assert (
        ended.stderr.decode()
        == f"forelight: standard output: {said}; send the answer to a place that takes it\n"
    )


def test_an_output_that_would_fall_on_an_input_is_refused(tmp_path: Path) -> None:
    procedure = tmp_path / "a.toml"
    procedure.write_text('do = ["restart", "steps 4"]\n')
    (tmp_path / "b.toml").symlink_to(procedure)
    for output in ("a.csv", "b.csv"):
        process = started(("golden", "tide_gauge", "--procedure", "a.toml", "-o", output), tmp_path)
        _, told = process.communicate()
        assert process.returncode == 2 and b"was read as an input" in told
        assert procedure.read_text() == 'do = ["restart", "steps 4"]\n'
        assert sorted(path.name for path in tmp_path.iterdir()) == ["a.toml", "b.toml"]


def test_a_pipe_with_a_name_is_read_once_somebody_writes(tmp_path: Path) -> None:
    golden = started(("golden", "tide_gauge", "-o", "g.csv"), tmp_path)
    assert golden.communicate() and golden.returncode == 0
    os.mkfifo(tmp_path / "pipe")
    process = started(("check", "tide_gauge", "pipe"), tmp_path)
    (tmp_path / "pipe").write_bytes((tmp_path / "g.csv").read_bytes())
    told, _ = process.communicate(timeout=60)
    assert process.returncode == 0 and told.startswith(b"Agrees")


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        print(f"seed {SEED}: {dict(storm(Path(made), 300))}")
