"""Which files a Verilog source reads beside itself: what its result depends on, and what it may not reach."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from forelight.sim.errors import SourceError

from .confinement import landlock_version

#: Of one file.
MOST_BYTES = 64 * 2**20
_READS = re.compile(r"""(`include\b|\$readmem[hb]\b\s*\(?)\s*(?:"([^"\n]*)")?""")


def files_read(base: Path, names: Sequence[str], folders: Sequence[str]) -> list[bytes | str] | None:
    """Names and contents of all that Yosys would read; None where a name is not written out.

    `names` are the sources and `folders` those that are searched for includes, both relative to `base`. Raises
    SourceError for a file outside the sources' own folders and `folders`, symbolic links followed.
    """
    allowed = reachable(base, names, folders)
    found: list[bytes | str] = []
    waiting = [(name, True) for name in names]
    beside = dict.fromkeys(Path(name).parent for name in names)
    seen: set[str] = set()
    written_out = True
    while waiting:
        name, is_source = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        raw = _content(base / name, name)
        found += [name, "not there" if raw is None else raw]
        for line, word, other in _reads(raw.decode(errors="replace")) if raw and is_source else ():
            if other is None:
                written_out = False
                _refuse_unknown(f"{name}:{line}", word)
                continue
            places = [os.path.normpath(place / other) for place in (Path(), Path(name).parent, *beside)]
            places += [os.path.normpath(Path(folder) / other) for folder in folders]
            for place in places:
                _refuse_outside(base, place, other, allowed, f"{name}:{line}")
            waiting += [(place, word[0] == "`") for place in places]
    return found if written_out else None


def reachable(base: Path, names: Sequence[str], folders: Sequence[str]) -> list[Path]:
    """The folders that a source may read from: those of the sources themselves, and those searched for includes."""
    return list(dict.fromkeys((base / place).resolve() for place in (*map(os.path.dirname, names), *folders)))


def _content(path: Path, name: str) -> bytes | None:
    """None where there is no file that can be read to its end."""
    try:
        if not path.is_file():
            return None
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise SourceError(
                f"a file of {size} bytes",
                place=name,
                remedy=f"at most {MOST_BYTES} are read: make it smaller",
            )
        return path.read_bytes()
    except OSError:
        return None


def _reads(text: str) -> Iterator[tuple[int, str, str | None]]:
    for match in _READS.finditer(text):
        yield text.count("\n", 0, match.start()) + 1, match[1], match[2]


def _refuse_outside(base: Path, place: str, written: str, allowed: Sequence[Path], where: str) -> None:
    try:
        path = (base / place).resolve()
        there = path.exists()
    except (OSError, RuntimeError):  # a name too long, or links in a circle: Yosys will not find it either
        return
    if there and not any(path.is_relative_to(folder) for folder in allowed):
        raise SourceError(
            f'"{written}" leaves the folder of the sources', place=where, remedy="put a copy into the folder"
        )


def _refuse_unknown(where: str, word: str) -> None:
    """A name that is put together cannot be judged here; the system must then keep Yosys inside."""
    if not landlock_version():
        raise SourceError(
            f"the name of the file after {word.rstrip(' (')} is not written out",
            place=where,
            remedy="write it in quotes, or read the design with --sandbox",
        )
