"""The notebook's file: SQLite, whole or refused, with one clear sentence for whatever is wrong with it."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import fields, replace
from math import isfinite
from pathlib import Path
from types import NoneType
from urllib.parse import quote
from uuid import uuid4

from forelight.sim.errors import UsageError

from .attempt import COMMANDS, VERDICTS, WITHDRAW, Attempt, ChipRoster, Details

#: In the header of each notebook: "Fore".
APPLICATION = 0x466F7265
#: Of the tables below; 2 since entries may be withdrawn, which a reader of 1 does not know.
VERSION = 2
#: How long another program's writing is waited for.
PATIENCE_S = 20.0
#: Tries whose details are asked for at a time.
_AT_A_TIME = 500

_TRIES = """CREATE TABLE tries (
  board TEXT NOT NULL, slot INTEGER, design TEXT NOT NULL, command TEXT NOT NULL, title TEXT NOT NULL,
  who TEXT NOT NULL, note TEXT NOT NULL, board_sha256 TEXT NOT NULL, design_sha256 TEXT NOT NULL,
  procedure TEXT NOT NULL, procedure_sha256 TEXT NOT NULL, code INTEGER, inputs INTEGER NOT NULL,
  verdict TEXT, evidence REAL, recording TEXT, recording_name TEXT NOT NULL, again_of TEXT,
  notebook TEXT NOT NULL, program TEXT NOT NULL, at TEXT NOT NULL, id TEXT NOT NULL PRIMARY KEY,
  answer TEXT NOT NULL, bench TEXT NOT NULL) STRICT"""
#: All that a notebook holds; whatever else stands in a file, it is none.
TABLES = {
    "tries": _TRIES,
    "recordings": "CREATE TABLE recordings (sha256 TEXT NOT NULL PRIMARY KEY, data BLOB NOT NULL) STRICT",
    "chips": "CREATE TABLE chips (board TEXT NOT NULL PRIMARY KEY, asked TEXT NOT NULL, slot_count INTEGER NOT NULL,"
    " slots TEXT NOT NULL) STRICT",
    "self": "CREATE TABLE self (id TEXT NOT NULL) STRICT",
}
_COLUMNS = [one.name for one in fields(Attempt)]
_SELECT = f"SELECT {', '.join(_COLUMNS)} FROM tries"  # the names are those of our own record
_NUMBERS = {"slot": (int, NoneType), "code": (int, NoneType), "inputs": (int,), "evidence": (float, NoneType)}
_MAY_LACK = ("verdict", "recording", "again_of")
#: What may stand in each column.
_KINDS = [_NUMBERS.get(name, (str, NoneType) if name in _MAY_LACK else (str,)) for name in _COLUMNS]
_DAMAGED = "is damaged: what stands in it is not what Forelight writes"
_RESTORE = "put a copy in its place, or begin another notebook and join it with `forelight survey merge`"

Row = tuple[object, ...]


class NotebookError(UsageError):
    """A notebook that cannot be read or written."""


class Notebook:
    """An open notebook; made by `reading` and `writing`."""

    def __init__(self, connection: sqlite3.Connection, path: Path, identity: str) -> None:
        self._connection = connection
        self.path = path
        self.id = identity

    def attempts(self, board: str | None = None) -> list[Attempt]:
        """All tries, or those on one board, in the order of their time."""
        rows = self._rows(f"{_SELECT} WHERE ?1 IS NULL OR board = ?1", board)
        return sorted(map(self._attempt, rows), key=lambda one: (one.at, one.id))

    def details(self, ids: Iterable[str]) -> dict[str, Details]:
        """The answers of these tries, by id."""
        wanted, found = list(ids), dict[str, Details]()
        for first in range(0, len(wanted), _AT_A_TIME):
            some = wanted[first : first + _AT_A_TIME]
            marks = ", ".join("?" * len(some))
            for one, answer, bench in self._rows(
                f"SELECT id, answer, bench FROM tries WHERE id IN ({marks})", *some
            ):
                found[str(one)] = Details(self._table(answer), self._table(bench))
        return found

    def kept(self) -> frozenset[str]:
        """The hashes of the recordings that the notebook holds."""
        return frozenset(str(row[0]) for row in self._rows("SELECT sha256 FROM recordings"))

    def recording(self, sha256: str) -> bytes | None:
        """The recorded file, if it was kept."""
        for (data,) in self._rows("SELECT data FROM recordings WHERE sha256 = ?", sha256):
            if isinstance(data, bytes) and hashlib.sha256(data).hexdigest() == sha256:
                return data
            raise self._damaged()
        return None

    def chips(self) -> dict[str, ChipRoster]:
        """The boards that were tried, by name."""
        found = {}
        for board, asked, count, slots in self._rows("SELECT board, asked, slot_count, slots FROM chips"):
            table = self._table(slots)
            if not (isinstance(board, str) and isinstance(asked, str) and isinstance(count, int)):
                raise self._damaged()
            if not 1 <= count <= 65536 or not all(_is_slot(slot, count) for slot in table):
                raise self._damaged()
            found[board] = ChipRoster(
                board, asked, count, {int(slot): str(name) for slot, name in table.items()}
            )
        return found

    def add(
        self,
        attempt: Attempt,
        details: Details,
        recording: bytes | None = None,
        chip: ChipRoster | None = None,
    ) -> bool:
        """Put a try in, with its recording if that is to be kept; whether it was new. Only within `writing`."""
        if chip:
            slots = json.dumps({str(slot): name for slot, name in chip.slots.items()})
            self._do(
                "INSERT OR REPLACE INTO chips VALUES (?, ?, ?, ?)",
                chip.board,
                chip.asked,
                chip.slot_count,
                slots,
            )
        if recording is not None and attempt.recording is not None:
            self.keep(attempt.recording, recording)
        if attempt.command == WITHDRAW:
            self._do(f"PRAGMA user_version = {VERSION}")
        attempt = attempt if attempt.notebook else replace(attempt, notebook=self.id)
        marks = ", ".join("?" * (len(_COLUMNS) + 2))
        bulk = (json.dumps(details.answer), json.dumps(details.bench))
        values = [_encodable(getattr(attempt, name)) for name in _COLUMNS]
        return self._do(f"INSERT OR IGNORE INTO tries VALUES ({marks})", *values, *bulk) > 0

    def keep(self, sha256: str, data: bytes) -> None:
        """Put a recording in, if it is not there."""
        self._do("INSERT OR IGNORE INTO recordings VALUES (?, ?)", sha256, data)

    def _do(self, statement: str, *values: object) -> int:
        with _told(self.path):
            return self._connection.execute(statement, values).rowcount

    def _rows(self, query: str, *values: object) -> list[Row]:
        with _told(self.path):
            return self._connection.execute(query, values).fetchall()

    def _attempt(self, row: Row) -> Attempt:
        """A row as a record, if all in it is as it should be."""
        if not all(map(isinstance, row, _KINDS)):
            raise self._damaged()
        attempt = Attempt(*row)  # type: ignore[arg-type]
        known = attempt.command in COMMANDS and attempt.verdict in (None, *VERDICTS)
        whole = 0 <= attempt.inputs <= 0xFF and 0 <= (attempt.slot or 0) <= 65535 and (attempt.code or 0) >= 0
        if not known or not whole or not isfinite(attempt.evidence or 0.0):
            raise self._damaged()
        return attempt

    def _table(self, text: object) -> Mapping[str, object]:
        try:
            found = _JSON.decode(str(text))
        except (ValueError, RecursionError):
            raise self._damaged() from None
        if not isinstance(found, dict):
            raise self._damaged()
        return found

    def _damaged(self) -> NotebookError:
        return NotebookError(f"the notebook {_DAMAGED}", place=str(self.path), remedy=_RESTORE)


@contextmanager
def reading(path: Path) -> Iterator[Notebook]:
    """The notebook at `path`, to be read. Raises NotebookError where that is none, damaged, or of a newer Forelight."""
    if not path.is_file():
        raise NotebookError(
            "there is no such notebook" if not path.exists() else "this is no file",
            place=str(path),
            remedy="`check`, `count` and `card` begin one with --survey FILE",
        )
    # Not "ro": what a program that was killed has left half written is taken back by whoever comes next.
    with _told(path), closing(_connect(path, "rw")) as connection:
        connection.execute("PRAGMA query_only = ON")
        connection.execute("BEGIN")  # all answers are of one moment
        identity = _identity(connection, path)
        if identity is not None:
            yield Notebook(connection, path, identity)
            return
    with closing(sqlite3.connect(":memory:")) as connection:  # begun by somebody, and nothing written yet
        yield Notebook(connection, path, _begin(connection))


@contextmanager
def writing(path: Path) -> Iterator[Notebook]:
    """The notebook at `path`, begun if there is none: what is added is written when the block ends, all or nothing.

    Raises NotebookError as `reading` does, and where it cannot be written.
    """
    with _told(path), closing(_connect(path, "rwc")) as connection:
        _identity(connection, path)  # before anything is changed in what may be somebody else's file
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("BEGIN IMMEDIATE")
        try:
            identity = _identity(connection, path) or _begin(connection)
            yield Notebook(connection, path, identity)
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def begun(path: Path) -> None:
    """Refuse what `writing` would refuse, before long work; a notebook that is not there yet is fine."""
    if path.exists():
        with reading(path):
            pass
    elif not path.parent.is_dir() or not os.access(path.parent, os.W_OK):
        raise _sentence(path, sqlite3.SQLITE_CANTOPEN)
    if not all(os.access(place, os.W_OK) for place in (path, path.parent) if place.exists()):
        raise _sentence(path, sqlite3.SQLITE_READONLY)


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    name = f"file:{quote(os.fsencode(path.absolute()))}?mode={mode}"
    connection = sqlite3.connect(name, uri=True, timeout=PATIENCE_S, isolation_level=None)
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    return connection


def _identity(connection: sqlite3.Connection, path: Path) -> str | None:
    """The id of the notebook; None where the file is empty. Raises NotebookError where it is no notebook of ours."""
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (pages,) = connection.execute("PRAGMA page_count").fetchone()
    if not pages or (
        application == version == 0 and not connection.execute("SELECT 1 FROM sqlite_schema").fetchone()
    ):
        return None
    if application != APPLICATION:
        raise NotebookError(
            "this is a database, but no notebook of Forelight's", place=str(path), remedy="name another file"
        )
    if version > VERSION:
        raise NotebookError(
            f"the notebook was written by a newer Forelight: its form is {version}, and this one knows {VERSION}",
            place=str(path),
            remedy="use the newer one",
        )
    found = connection.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    own = connection.execute("SELECT id FROM self").fetchall() if dict(found) == TABLES else []
    if len(own) != 1 or not isinstance(own[0][0], str):
        raise NotebookError(f"the notebook {_DAMAGED}", place=str(path), remedy=_RESTORE)
    return own[0][0]


def _begin(connection: sqlite3.Connection) -> str:
    """Lay out an empty notebook."""
    identity = str(uuid4())
    for statement in TABLES.values():
        connection.execute(statement)
    connection.execute("INSERT INTO self VALUES (?)", (identity,))
    connection.execute(f"PRAGMA application_id = {APPLICATION}")
    connection.execute(f"PRAGMA user_version = {VERSION}")
    return identity


def _encodable(value: object) -> object:
    """A text with a mark for each byte that was none in the terminal or in the name of a file."""
    if isinstance(value, str) and not value.isascii():
        return value.encode("utf-8", "replace").decode()
    return value


def _finite(text: str) -> float:
    number = float(text)
    if not isfinite(number):
        raise ValueError(text)
    return number


#: Made once: an answer reads thousands of them.
_JSON = json.JSONDecoder(parse_float=_finite, parse_constant=_finite)


def _is_slot(text: str, count: int) -> bool:
    return text.isascii() and text.isdecimal() and len(text) <= 5 and int(text) < count


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Whatever SQLite finds wrong, in one sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise _sentence(path, getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)) from None
    except UnicodeDecodeError:
        raise _sentence(path, sqlite3.SQLITE_CORRUPT) from None
    except OverflowError:
        raise _sentence(path, sqlite3.SQLITE_TOOBIG) from None


def _sentence(path: Path, code: int) -> NotebookError:
    if code == sqlite3.SQLITE_READONLY_ROLLBACK:
        return NotebookError(
            "a program was stopped as it wrote in the notebook, and what it left half written cannot be taken back: "
            "the notebook, or its folder, is read-only",
            place=str(path),
            remedy="copy it, with the -journal beside it, to where you may write",
        )
    main = code & 0xFF  # the rest says more than a person can use
    what, remedy = {
        sqlite3.SQLITE_BUSY: (
            f"another program has been writing in the notebook for {PATIENCE_S:g} s",
            "wait until it is done, and give the command again",
        ),
        sqlite3.SQLITE_READONLY: (
            "the notebook cannot be written to: it, or its folder, is read-only",
            "copy it to where you may write",
        ),
        sqlite3.SQLITE_PERM: ("the notebook cannot be opened", "look at who may read it"),
        sqlite3.SQLITE_CANTOPEN: (
            "the notebook cannot be opened",
            "name a file in a folder that exists and that you may write to",
        ),
        sqlite3.SQLITE_FULL: (
            "the disk is full: this was not written, and what the notebook held before is whole",
            "make room, and give the command again",
        ),
        sqlite3.SQLITE_IOERR: (
            "the disk did not take or give the notebook's data: this was not written",
            "look whether it is full or failing, and give the command again",
        ),
        sqlite3.SQLITE_TOOBIG: (
            "this is too large for a notebook",
            "keep the recording in a file of its own",
        ),
    }.get(main, (f"the notebook {_DAMAGED}", _RESTORE))
    return NotebookError(what, place=str(path), remedy=remedy)
