"""Finds, validates and lists designs: by slot number, by name, by folder or by file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from functools import cache
from pathlib import Path

from forelight.sim.errors import SourceError, UsageError
from forelight.sim.frozen import frozen

from .datasheet import DATASHEET_FILE, FORMATS, Datasheet
from .sheets.bare import bare
from .sheets.reader import load
from .toml_file import did_you_mean, quoted

_HERE = Path(__file__).parent / "breakwater"


@frozen
class Roster:
    """A board's slots: slot number -> folder name of the catalogue, or path relative to `beside`.

    `step_line` and `restart_line` are for sources without a datasheet.
    """

    board: str
    slot_count: int
    slots: Mapping[int, str] = field(default_factory=dict)
    beside: Path = Path()
    step_line: str | None = None
    restart_line: str | None = None


@frozen
class Found:
    """A design, and the lowest slot of the board that holds it (None if no slot does)."""

    datasheet: Datasheet
    slot: int | None


class EmptySlotError(UsageError):
    """The slot is one of the board's, and holds nothing: an answer where the question was what it shows."""

    def __init__(self, board: str, slot: int) -> None:
        self.slot = slot
        super().__init__(
            f"slot {slot} of {board} is empty", remedy="`forelight slots` lists those that are not"
        )


@cache
def names() -> tuple[str, ...]:
    """The folders of the catalogue, in alphabetical order."""
    return tuple(sorted(file.parent.name for file in _HERE.glob(f"*/{DATASHEET_FILE}")))


def load_design(name: str) -> Datasheet:
    """The datasheet of a folder of the catalogue."""
    if name not in names():
        raise UsageError(f"there is no design {quoted(name)}", remedy=_known(name))
    return load(_HERE / name)


def is_own(file: Path) -> bool:
    """Whether a file is a source that a datasheet of the catalogue names: those come with Forelight."""
    folder = file.resolve().parent
    if folder.parent != _HERE.resolve() or folder.name not in names():
        return False
    return file.resolve().name in _sources(folder.name)


@cache
def _sources(name: str) -> tuple[str, ...]:
    """The sources that a datasheet of the catalogue names."""
    return load_design(name).sources


def resolve(text: str, roster: Roster) -> Found:
    """The design that SLOT means: a slot number, a catalogue name, a contribution's folder, FILE or FILE:TOP.

    A catalogue name goes before a file of that name here: write ./dice for the folder.
    """
    text = text.strip()
    if text.isascii() and text.isdecimal():
        return _in_slot(text, roster)
    if text in names():
        return _at(_HERE / text, None, roster)
    file, _, top = text.rpartition(":")
    if Path(file).suffix in FORMATS:
        return _at(Path(file), top, roster)
    path = Path(text)
    if text and (path.suffix in {*FORMATS, ".toml"} or path.parent != Path() or is_there(path)):
        return _at(path, None, roster)
    raise UsageError(f"there is no design {quoted(text)}", remedy=_known(text))


def entry_path(entry: str, beside: Path) -> Path:
    """Where an entry of a roster leads: into the catalogue, or to a path relative to the profile."""
    return _HERE / entry if entry in names() else beside / entry


def is_there(path: Path) -> bool:
    """Whether something is there; what cannot even be asked (a name too long, a forbidden folder) is not."""
    try:
        return path.exists()
    except OSError:
        return False


def _in_slot(text: str, roster: Roster) -> Found:
    number = int(text) if len(text) <= 9 else roster.slot_count
    if number >= roster.slot_count:
        raise UsageError(
            f"{roster.board} has no slot {text[:20]}", remedy=f"its slots are 0 to {roster.slot_count - 1}"
        )
    if number not in roster.slots:
        raise EmptySlotError(roster.board, number)
    return Found(_read(entry_path(roster.slots[number], roster.beside), None, roster), number)


def _at(path: Path, top: str | None, roster: Roster) -> Found:
    sheet = _read(path, top, roster)
    return Found(sheet, _slot_of(path, sheet, roster))


def _read(path: Path, top: str | None, roster: Roster) -> Datasheet:
    """A folder's or file's datasheet; a source that no datasheet beside it lists is read bare."""
    if not is_there(path):
        siblings = [item.name for item in path.parent.iterdir()] if is_there(path.parent) else []
        near = did_you_mean(path.name, siblings)
        raise SourceError("no such file or folder", place=str(path), remedy=near or "check the path")
    if path.is_dir():
        if not (path / DATASHEET_FILE).is_file():
            raise SourceError(
                f"there is no {DATASHEET_FILE} in this folder",
                place=str(path),
                remedy="write one, or give the path of the source itself",
            )
        return load(path)
    if path.suffix == ".toml":
        return load(path)
    if path.suffix in FORMATS and (path.parent / DATASHEET_FILE).is_file():
        sheet = load(path.parent)
        if path.name in sheet.sources and top in (None, sheet.top):
            return sheet
    return bare(path, top, roster.step_line, roster.restart_line)


def _slot_of(path: Path, sheet: Datasheet, roster: Roster) -> int | None:
    """The lowest slot that holds this very path, or the folder whose datasheet the path led to."""
    holders = {path.resolve()} if sheet.assumed else {path.resolve(), sheet.folder.resolve()}
    for number, entry in sorted(roster.slots.items()):
        if entry_path(entry, roster.beside).resolve() in holders:
            return number
    return None


def _known(name: str) -> str:
    near = did_you_mean(name, names())
    listed = f"the designs are {', '.join(names())}, or give a slot number, a folder or a file"
    return f"{near} {listed}" if near else listed
