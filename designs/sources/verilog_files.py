"""Which files a Verilog source reads beside itself: what its result depends on, and what it may not reach."""

from __future__ import annotations

import hashlib
import posixpath
from collections.abc import Iterable, Sequence
from pathlib import Path

from forelight.sim.errors import SourceError
from forelight.sim.files import INPUTS

from .confinement import landlock_version
from .text.tokens import Verilog

#: Of one file.
MOST_BYTES = 64 * 2**20


def reachable(base: Path, names: Sequence[str], folders: Sequence[str]) -> list[Path]:
    """The folders that a source may read from: those of the sources themselves, and those searched for includes."""
    return list(
        dict.fromkeys((base / place).resolve() for place in (*map(posixpath.dirname, names), *folders))
    )


def content(base: Path, name: str) -> bytes | None:
    """None where there is no file that can be read to its end. Raises SourceError for one that is too large."""
    path = base / name
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
        INPUTS.note(path)
        return path.read_bytes()
    except OSError:
        return None


def state(base: Path, places: Iterable[str]) -> list[list[str]]:
    """Each place with the hash of the file there, or with nothing where there is none."""
    found = ((place, content(base, place)) for place in places)
    return [[place, "" if raw is None else hashlib.sha256(raw).hexdigest()] for place, raw in found]


def included(texts: Sequence[Verilog], folders: Sequence[str]) -> list[str]:
    """Where the preprocessor looked for the files that it joined: those that it found, and those that were not there.

    A name is searched for as it is written, beside the file that names it, and in each of `folders`. The text tells
    what was found and not how it was written, so that all ways to write it count.
    """
    found: list[str] = []
    for file, by in dict.fromkeys(pair for text in texts for pair in text.files if pair[1]):
        searched = ["", posixpath.dirname(by), *folders]
        for place in searched:
            if not place or file.startswith(f"{place}/"):
                written = file[len(place) + 1 :] if place else file
                found += [posixpath.join(other, written) for other in searched]
    return list(dict.fromkeys(map(posixpath.normpath, found)))


def tables(texts: Sequence[Verilog]) -> tuple[list[str], bool]:
    """Where Yosys looks for the files of `$readmemh` and `$readmemb`, and whether all their names are written out.

    Without Landlock a name that is not written out is refused, as nothing would keep Yosys inside.
    """
    folders = dict.fromkeys(["", *(posixpath.dirname(file) for text in texts for file, _ in text.files)])
    found: list[str] = []
    written_out = True
    for text in texts:
        for at in text.where("$readmemh", "$readmemb"):
            token, name = text.tokens[at], text.word(at + 2)
            if (
                text.word(at + 1) == "("
                and name.startswith('"')
                and "\\" not in name
                and text.word(at + 3) in ",)"
            ):
                found += [posixpath.normpath(posixpath.join(folder, name[1:-1])) for folder in folders]
                continue
            written_out = False
            if not landlock_version():
                raise SourceError(
                    f"the name of the file after {token.text} is not written out",
                    place=token.place,
                    remedy="write it in quotes, or read the design with --sandbox",
                )
    return list(dict.fromkeys(found)), written_out


def refuse_outside(base: Path, texts: Sequence[Verilog], allowed: Sequence[Path]) -> None:
    """Raises SourceError for a file that was joined, or a table that is named, outside of some folders."""
    for text in texts:
        for file, by in text.files:
            _refuse(base, file, allowed, by or file)
        for at in text.where("$readmemh", "$readmemb"):
            token, name = text.tokens[at], text.word(at + 2)
            if name.startswith('"'):
                for folder in ("", posixpath.dirname(token.file)):
                    _refuse(base, posixpath.join(folder, name[1:-1]), allowed, token.place)


def _refuse(base: Path, place: str, allowed: Sequence[Path], where: str) -> None:
    try:
        path = (base / place).resolve()
        there = path.exists()
    except (
        OSError,
        RuntimeError,
        ValueError,
    ):  # too long, or links in a circle: Yosys will not find it either
        return
    if there and not any(path.is_relative_to(folder) for folder in allowed):
        raise SourceError(
            f'"{place}" leaves the folder of the sources', place=where, remedy="put a copy into the folder"
        )
