"""TOML tables, read key by key: a complaint names file, line, key, what was found and what is allowed."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import field
from pathlib import Path

from forelight.sim.errors import DatasheetError
from forelight.sim.files import INPUTS
from forelight.sim.frozen import frozen

#: A step from a table to what is inside it: a key, or the index of an element of an array.
Key = str | int
_LARGEST_FILE = 1 << 20
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?")
_ASSIGNMENT = re.compile(
    r"""\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*="""
)
_ARRAY = re.compile(r"[ \t]*\[")
#: What stands in an array: texts, remarks, and the brackets of arrays and inline tables.
_IN_ARRAY = re.compile(
    r'''"""(?:\\.|[^\\])*?"""|"(?:\\.|[^"\\\n])*"|#[^\n]*|[\[\]{}]|''' r"""'''.*?'''|'[^'\n]*'""", re.DOTALL
)
_KEY_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """`did you mean "x"?`, or nothing if no known word is near; in a word of two letters all are near."""
    import difflib  # only where a word is wrong

    near = difflib.get_close_matches(word, list(known), n=3, cutoff=0.6) if len(word) > 2 else []
    return f"did you mean {' or '.join(quoted(name) for name in near)}?" if near else ""


def printable(text: str) -> str:
    """The text with its control characters written out: they could command a terminal."""
    return "".join(char if char.isprintable() else f"\\u{ord(char):04x}" for char in text)


def quoted(value: object) -> str:
    """A found value as a person wrote it, shortened, without control characters."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list):
        return f"an array of {len(value)}"
    if not isinstance(value, str):
        return str(value)
    return f'"{printable(value[:80])}{"..." if len(value) > 80 else ""}"'


def dotted(path: Iterable[Key]) -> str:
    """`("run", 0, "do")` as `run[0].do`."""
    parts = (f"[{key}]" if isinstance(key, int) else f".{printable(key)}" for key in path)
    return "".join(parts).removeprefix(".")


@frozen
class Section:
    """One table of a TOML file; `path` leads to it from the top, `lines` finds the line of a path."""

    file: Path
    path: tuple[Key, ...]
    table: Mapping[str, object]
    lines: Mapping[tuple[Key, ...], int] = field(repr=False)

    def place(self, *keys: Key) -> str:
        """File and line of a key, or of the nearest thing around it that has a line."""
        path = (*self.path, *keys)
        while path and path not in self.lines:
            path = path[:-1]
        return f"{self.file}:{self.lines[path]}" if path else str(self.file)

    def error(self, keys: Key | tuple[Key, ...], found: str, allowed: str) -> DatasheetError:
        """The complaint about one key of this table."""
        inner = keys if isinstance(keys, tuple) else (keys,)
        return DatasheetError(
            f"{dotted((*self.path, *inner))}: {found}", place=self.place(*inner), remedy=allowed
        )

    def wrong(self, key: str, allowed: str) -> DatasheetError:
        return self.error(key, f"{quoted(self.table[key])} does not fit", f"allowed: {allowed}")

    def absent(self, key: str, kind: str) -> DatasheetError:
        return self.error(key, "is missing", f"add it: {kind}")

    def only(self, *allowed: str) -> None:
        """Refuse keys that are not known, with the nearest known ones."""
        for key in self.table:
            if key not in allowed:
                near = did_you_mean(key, allowed)
                keys = f"the keys here are {', '.join(allowed)}"
                raise self.error(key, "no such key", f"{near} {keys}" if near else keys)

    def text(self, key: str, default: str | None = None, longest: int = 200) -> str:
        """A text of at least one character and no control characters (they could command a terminal)."""
        if key not in self.table:
            if default is None:
                raise self.absent(key, "a text")
            return default
        value = self.table[key]
        if not isinstance(value, str) or not value.strip() or len(value) > longest:
            raise self.wrong(key, f"a text of 1 to {longest} characters")
        # What is printable has none, and nearly all is.
        for char in () if value.isprintable() else value:
            if unicodedata.category(char) in {"Cc", "Cf", "Cs"} and char not in "\n\t":
                raise self.error(
                    key, f"holds the control character {quoted(char)}", "allowed: printable text"
                )
        return value.strip()

    def choice(self, key: str, allowed: Collection[str], default: str | None = None) -> str:
        """One of the allowed words."""
        words = ", ".join(allowed)
        if key not in self.table:
            if default is None:
                raise self.absent(key, f"one of {words}")
            return default
        value = self.table[key]
        if not isinstance(value, str) or value not in allowed:
            near = did_you_mean(value, allowed) if isinstance(value, str) else ""
            raise self.wrong(key, f"{words}{'; ' + near if near else ''}")
        return value

    def integer(self, key: str, low: int, high: int, default: int | None = None) -> int:
        """A whole number from low to high."""
        if key not in self.table:
            if default is None:
                raise self.absent(key, f"a whole number from {low} to {high}")
            return default
        value = self.table[key]
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.wrong(key, f"a whole number from {low} to {high}")
        return value

    def rate(self, key: str) -> float | None:
        """A rate in hertz, or None where there is no such key."""
        if key not in self.table:
            return None
        value = self.table[key]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 1e-6 <= value <= 1e9:
            raise self.wrong(key, "a rate in Hz from 0.000001 to 1000000000")
        return float(value)

    def number(self, key: str, low: float, high: float) -> float:
        """A number from low to high."""
        value = self.table[key]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
            raise self.wrong(key, f"a number from {low:g} to {high:g}")
        return float(value)

    def file_inside(self, key: str, name: str, endings: Collection[str]) -> None:
        """Refuse a file outside the folder of this one, symbolic links followed; then one that is not there."""
        folder = self.file.parent
        path = folder / name
        try:
            plain = Path(name).name == name and not path.is_symlink()
            inside = plain or path.resolve().is_relative_to(folder.resolve())
            there = path.is_file()
        except (OSError, RuntimeError, ValueError):  # a name too long, links in a circle, a zero byte
            inside, there = True, False
        if not inside:
            raise self.error(key, f"{quoted(name)} leaves the folder", "allowed: files inside the folder")
        if not there:
            near = did_you_mean(name, [item.name for item in folder.iterdir() if item.suffix in endings])
            raise self.error(key, f"there is no file {quoted(name)}", near or "put it into the folder")
        if path.suffix not in endings:
            raise self.error(key, f"{quoted(name)} does not fit", f"allowed endings: {', '.join(endings)}")

    def texts(self, key: str) -> tuple[str, ...]:
        """An array of texts, at least one."""
        value = self.table.get(key)
        if value is None:
            raise self.absent(key, "an array of texts")
        if not isinstance(value, list) or not value or not all(isinstance(item, str) for item in value):
            raise self.wrong(key, "an array of one or more texts")
        return tuple(value)

    def text_places(self, key: str) -> tuple[str, ...]:
        """File and line of each of `texts(key)`."""
        return tuple(self.place(key, number) for number in range(len(self.texts(key))))

    def section(self, key: str) -> Section | None:
        """The table of this name, or None where there is none."""
        value = self.table.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise self.wrong(key, f"a table, as in [{dotted((*self.path, key))}]")
        return Section(self.file, (*self.path, key), value, self.lines)

    def sections(self, key: str) -> list[Section]:
        """The tables of an array of tables."""
        value = self.table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.wrong(key, f"tables, each begun by [[{dotted((*self.path, key))}]]")
        return [Section(self.file, (*self.path, key, n), item, self.lines) for n, item in enumerate(value)]


def read_toml(path: Path) -> Section:
    """The whole file as one section; a file that cannot be read or is no TOML is a `DatasheetError`."""
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise DatasheetError("file of more than 1 MiB", place=str(path), remedy="give a TOML file")
        text = path.read_text(encoding="utf-8-sig")
        INPUTS.note(path)
        return Section(path, (), tomllib.loads(text), _places(text))
    except OSError as error:
        reason = error.strerror or str(error)
        raise DatasheetError(
            f"cannot be read: {reason}", place=str(path), remedy="give a TOML file"
        ) from None
    except UnicodeDecodeError as error:
        raise DatasheetError(
            f"is not UTF-8 text (byte {error.start})", place=str(path), remedy="save it as UTF-8"
        ) from None
    except (ValueError, RecursionError) as error:
        line = re.search(r"\(at line (\d+), column \d+\)", str(error))
        reason = str(error) if isinstance(error, ValueError) else "nested too deep"
        place = f"{path}:{line[1]}" if line else str(path)
        raise DatasheetError(
            f"is not valid TOML: {reason}", place=place, remedy="correct the syntax"
        ) from None


def _places(text: str) -> dict[tuple[Key, ...], int]:
    """Lines of table headers, of `key =` and of the texts in its array, from 1; an inline table is on one line."""
    places: dict[tuple[Key, ...], int] = {}
    counts: dict[tuple[Key, ...], int] = {}
    table: tuple[Key, ...] = ()
    inside = ""  # the closing quotes of a text of several lines
    after = 0
    for number, line in enumerate(text.split("\n"), 1):
        start, after = after, after + len(line) + 1
        if inside:
            inside = "" if inside in line else inside
            continue
        if "[" in line and (header := _HEADER.match(line)):
            keys = _indexed(_key_parts(header[2]), counts, new=header[1] == "[[")
            if not _ASSIGNMENT.match(line):
                table = keys
                places.setdefault(table, number)
        elif "=" in line and (assignment := _ASSIGNMENT.match(line)):
            keys = (*table, *_key_parts(assignment[1]))
            places.setdefault(keys, number)
            for place, found in enumerate(_array_lines(text, start + assignment.end(), number)):
                places.setdefault((*keys, place), found)
        for quotes in ('"""', "'''"):
            if line.count(quotes) % 2:
                inside = quotes
    return places


def _array_lines(text: str, start: int, number: int) -> Iterator[int]:
    """The line of each text of the array that begins at `start`, in line `number`; none where there is no array."""
    if not _ARRAY.match(text, start):
        return
    depth = 0
    for token in _IN_ARRAY.finditer(text, start):
        depth += (token[0] in "[{") - (token[0] in "]}")
        if depth == 0:
            return
        if depth == 1 and token[0][0] in "\"'":
            yield number + text.count("\n", start, token.start())


def _key_parts(text: str) -> tuple[Key, ...]:
    return tuple(part.strip("\"'") for part in _KEY_PART.findall(text))


def _indexed(keys: tuple[Key, ...], counts: dict[tuple[Key, ...], int], new: bool) -> tuple[Key, ...]:
    """A header's path with the index of each array of tables on the way; `new` begins another element."""
    path: tuple[Key, ...] = ()
    for position, key in enumerate(keys):
        path = (*path, key)
        if new and position == len(keys) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path
