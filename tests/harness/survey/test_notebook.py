"""The notebook's file: what is written can be read, and whatever is wrong with it is one clear sentence."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from functools import partial
from hashlib import sha256
from pathlib import Path

import pytest
from forelight.harness.survey.attempt import WITHDRAW, Attempt, Details
from forelight.harness.survey.keeping import Entry
from forelight.harness.survey.notebook import NotebookError, reading, writing

from .books import QUAY, attempt, write

posix = pytest.mark.skipif(not hasattr(os, "fork"), reason="rights, limits and processes of POSIX")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "quay.survey"
    write(path, attempt(), attempt(42, "differs"))
    return path


def everything(path: Path) -> list[Attempt]:
    with reading(path) as notebook:
        return notebook.attempts()


def refused(path: Path, *words: str) -> str:
    """What reading and writing say, which is the same short sentence without a line break."""
    said = []
    for door in (reading, writing):
        with pytest.raises(NotebookError) as error, door(path) as notebook:
            notebook.attempts()
        said.append(str(error.value))
        assert error.value.exit_code == 2
        assert all(word in said[-1] for word in (str(path), *words)), said[-1]
        assert "\n" not in said[-1]
        assert len(said[-1]) < 400
    return said[0]


def test_what_is_written_is_read(tmp_path: Path) -> None:
    path, data = tmp_path / "quay.survey", b"step,shown\n0,0.\n"
    one = attempt(
        who="Ann",
        note="o4 glows\nfaintly",
        code=182,
        inputs=0x80,
        evidence=-12.5,
        recording=sha256(data).hexdigest(),
        recording_name="eye.csv",
    )
    details = Details({"reasons": ["because"]}, {"actions": ["restart"]})
    with writing(path) as notebook:
        assert notebook.add(one, details, data, QUAY)
        assert not notebook.add(one, details, data, QUAY), "an id is written once"
    with reading(path) as notebook:
        (found,) = notebook.attempts()
        assert replace(found, notebook="") == one
        assert found.notebook == notebook.id
        assert notebook.details([one.id]) == {one.id: details}
        assert notebook.recording(one.recording or "") == data
        assert notebook.kept() == {one.recording}
        assert notebook.chips() == {"quay": QUAY}


def test_it_is_a_plain_sqlite_file_with_a_rollback_journal(book: Path) -> None:
    assert [file.name for file in book.parent.iterdir()] == [book.name], "nothing is left beside it"
    with closing(sqlite3.connect(book)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("SELECT slot, verdict FROM tries ORDER BY at").fetchall() == [
            (101, "agrees"),
            (42, "differs"),
        ]


def test_writing_is_fully_synchronised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[sqlite3.Connection] = []
    connect = sqlite3.connect

    def kept(*given: object, **options: object) -> sqlite3.Connection:
        made.append(connect(*given, **options))  # type: ignore[call-overload]
        return made[-1]

    monkeypatch.setattr(sqlite3, "connect", kept)
    with writing(tmp_path / "quay.survey"):
        assert made[-1].execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
        assert made[-1].execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_a_block_that_fails_writes_nothing(book: Path) -> None:
    before = everything(book)
    with pytest.raises(ZeroDivisionError), writing(book) as notebook:
        notebook.add(attempt(25), Details())
        raise ZeroDivisionError
    assert everything(book) == before


def test_no_such_notebook(tmp_path: Path) -> None:
    with pytest.raises(NotebookError, match="there is no such notebook"), reading(tmp_path / "none.survey"):
        pass
    with pytest.raises(NotebookError, match="this is no file"), reading(tmp_path):
        pass
    refused(tmp_path / "none" / "quay.survey", "; ")


def test_a_file_that_was_just_begun_is_an_empty_notebook(tmp_path: Path) -> None:
    path = tmp_path / "quay.survey"
    path.touch()
    assert everything(path) == []
    write(path, attempt())
    assert len(everything(path)) == 1


def test_a_withdrawal_makes_an_older_notebook_a_new_one(book: Path) -> None:
    """Whoever knows the older form alone would take what is withdrawn for what counts."""
    with closing(sqlite3.connect(book)) as connection:
        connection.execute("PRAGMA user_version = 1")
    (one, *_) = everything(book)
    for added, form in ((attempt(), 1), (attempt(verdict=None, command=WITHDRAW, again_of=one.id), 2)):
        write(book, added)
        with closing(sqlite3.connect(book)) as connection:
            assert connection.execute("PRAGMA user_version").fetchone() == (form,)
        assert added.id in {other.id for other in everything(book)}


def test_a_newer_notebook(book: Path) -> None:
    with closing(sqlite3.connect(book)) as connection:
        connection.execute("PRAGMA user_version = 3")
    before = book.read_bytes()
    refused(book, "was written by a newer Forelight: its form is 3, and this one knows 2; use the newer one")
    assert book.read_bytes() == before


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "harbour.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("CREATE TABLE ships (name TEXT)")
    before = path.read_bytes()
    refused(path, "no notebook of Forelight's")
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TRIGGER more AFTER INSERT ON tries BEGIN DELETE FROM recordings; END",
        "CREATE VIEW ships AS SELECT 1",
        "DROP TABLE chips",
        "DELETE FROM self",
        "UPDATE tries SET verdict = 'splendid'",
        "UPDATE tries SET command = 'guess'",
        "UPDATE tries SET inputs = 256",
        "UPDATE tries SET slot = -1",
        "UPDATE tries SET evidence = 9e999",
    ],
)
def test_whatever_else_stands_in_it(book: Path, statement: str) -> None:
    with closing(sqlite3.connect(book)) as connection:
        connection.execute(statement)
        connection.commit()
    refused(book, "is damaged", "put a copy in its place")


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("answer", "{"),
        ("bench", "[]"),
        ("answer", "[" * 100_000),
        ("answer", '{"a": 1e999}'),
        ("bench", '{"a": NaN}'),
    ],
)
def test_an_answer_that_is_none(book: Path, column: str, value: str) -> None:
    with closing(sqlite3.connect(book)) as connection:
        connection.execute(f"UPDATE tries SET {column} = ?", (value,))
        connection.commit()
    with reading(book) as notebook, pytest.raises(NotebookError, match="is damaged"):
        notebook.details(one.id for one in notebook.attempts())


def test_a_recording_that_was_changed(tmp_path: Path) -> None:
    path, data = tmp_path / "quay.survey", b"o0\n0\n"
    one = attempt(recording=sha256(data).hexdigest())
    with writing(path) as notebook:
        notebook.add(one, Details(), data)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE recordings SET data = ?", (b"o0\n1\n",))
        connection.commit()
    with reading(path) as notebook, pytest.raises(NotebookError, match="is damaged"):
        notebook.recording(one.recording or "")


@pytest.mark.parametrize(
    "damage", [lambda data: b"step,shown\n" * 40, lambda data: data[:5000], lambda data: data[:100]]
)
def test_a_damaged_file(book: Path, damage: Callable[[bytes], bytes]) -> None:
    book.write_bytes(damage(book.read_bytes()))
    refused(book, "is damaged")


# Where it cannot be written


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that anybody can enter, whatever the rights of pytest's own."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def apart(work: Callable[[], object]) -> str:
    """What work says in a process of its own, or what it is refused with."""
    out, into = os.pipe()
    child = os.fork()
    if not child:
        said = "an error that is not ours"
        try:
            said = str(work())
        except NotebookError as error:
            said = str(error)
        finally:
            try:
                os.write(into, said.encode())
            finally:
                os._exit(0)
    os.close(into)
    os.waitpid(child, 0)
    with os.fdopen(out, "rb") as pipe:
        return pipe.read().decode()


def add(path: Path, data: bytes = b"") -> str:
    one = attempt(25, recording=sha256(data).hexdigest() if data else None)
    with writing(path) as notebook:
        notebook.add(one, Details(), data or None)
    return "written"


def as_anybody(work: Callable[[], object]) -> Callable[[], object]:
    """The same by somebody who is not root: root may write everywhere."""

    def other() -> object:
        if os.geteuid() == 0:
            os.setuid(65534)
        return work()

    return other


@posix
@pytest.mark.parametrize("what", ["file", "folder"])
def test_a_read_only_notebook_can_be_read_and_not_written(open_folder: Path, what: str) -> None:
    path = open_folder / "quay.survey"
    write(path, attempt())
    path.chmod(0o444 if what == "file" else 0o666)
    open_folder.chmod(0o777 if what == "file" else 0o555)
    assert apart(as_anybody(lambda: len(everything(path)))) == "1"
    said = f"{path}: the notebook cannot be written to: it, or its folder, is read-only; copy it to where you may write"
    assert apart(as_anybody(lambda: add(path))) == said
    assert apart(as_anybody(lambda: Entry(path).ready())) == said
    assert len(everything(path)) == 1


@posix
def test_half_written_and_read_only(open_folder: Path) -> None:
    """Where nobody may take back what a killed program left half written, that is said; else it is taken back."""
    path = open_folder / "quay.survey"
    write(path, attempt())

    def killed() -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            connection.execute("PRAGMA cache_size = 1")
            connection.execute("BEGIN IMMEDIATE")
            for _ in range(50):
                connection.execute("INSERT INTO recordings VALUES (hex(randomblob(8)), randomblob(20000))")
            os.kill(os.getpid(), signal.SIGKILL)

    assert apart(killed) == ""
    assert path.with_name("quay.survey-journal").stat().st_size
    path.chmod(0o444)
    open_folder.chmod(0o555)
    said = apart(as_anybody(lambda: len(everything(path))))
    assert said.startswith(f"{path}: a program was stopped as it wrote in the notebook")
    open_folder.chmod(0o755)
    path.chmod(0o644)
    assert len(everything(path)) == 1


@posix
def test_a_file_that_cannot_grow(book: Path) -> None:
    """A process that may write no larger file, as on a disk that is full."""
    before = everything(book)

    def limited() -> str:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
        return add(book, os.urandom(200_000))

    said = apart(limited)
    assert said.startswith(f"{book}: the disk ")
    assert "this was not written" in said
    assert everything(book) == before


def _few_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite gives its own files a quota, and says of more what it says of a full disk."""
    connect = sqlite3.connect

    def limited(*given: object, **options: object) -> sqlite3.Connection:
        connection: sqlite3.Connection = connect(*given, **options)  # type: ignore[call-overload]
        connection.execute("PRAGMA max_page_count = 40")
        return connection

    monkeypatch.setattr(sqlite3, "connect", limited)


def test_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file system in memory of 256 kB where the system lets that be mounted, elsewhere a quota."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    command = [mount or "mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(place)]
    mounted = mount is not None and subprocess.run(command, capture_output=True, check=False).returncode == 0
    if not mounted:
        _few_pages(monkeypatch)
    try:
        path = place / "quay.survey"
        write(path, attempt())
        before = everything(path)
        data = os.urandom(400_000)
        with pytest.raises(NotebookError) as error, writing(path) as notebook:
            notebook.add(attempt(25, recording=sha256(data).hexdigest()), Details(), data)
        assert str(error.value) == (
            f"{path}: the disk is full: this was not written, and what the notebook held before is whole; "
            "make room, and give the command again"
        )
        assert everything(path) == before
    finally:
        if mounted:
            subprocess.run(["umount", str(place)], check=True)


# Two at once


def _writer(path: Path, who: str, count: int) -> None:
    for number in range(count):
        write(path, attempt(who=who, note=str(number)))


@posix
def test_two_programs_write_at_once(tmp_path: Path) -> None:
    """Into one notebook that neither found there: all tries of both are in it, each once."""
    path, count = tmp_path / "quay.survey", 12
    with ThreadPoolExecutor(2) as pool:
        done = [pool.submit(apart, partial(_writer, path, who, count)) for who in ("Ann", "Bo")]
    assert [one.result() for one in done] == ["None", "None"]
    found = sorted((one.who, int(one.note)) for one in everything(path))
    assert found == [(who, number) for who in ("Ann", "Bo") for number in range(count)]


def test_who_waits_too_long_is_told(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("forelight.harness.survey.notebook.PATIENCE_S", 0.1)
    with writing(book):
        with pytest.raises(NotebookError, match="another program has been writing"), writing(book):
            pass
        assert len(everything(book)) == 2, "it can be read meanwhile"


def test_names_and_notes_are_bounded(tmp_path: Path) -> None:
    with pytest.raises(Exception, match="--who has 81 characters; say it in 80"):
        Entry(tmp_path / "quay.survey", who="A" * 81).ready()
