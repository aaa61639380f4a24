"""RTLIL texts that Yosys has written, kept on disk by a hash of everything that they depend on."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

#: Entries beyond this many bytes in all are dropped, oldest use first.
LIMIT = 64 * 2**20
_SUFFIX = ".rtlil"


def folder() -> Path:
    """`FORELIGHT_CACHE` or the XDG cache folder (XDG Base Directory Specification)."""
    stated = os.environ.get("FORELIGHT_CACHE")
    if stated:
        return Path(stated)
    base = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(base) if Path(base).is_absolute() else Path.home() / ".cache") / "forelight"


def key(parts: Iterable[bytes | str]) -> str:
    """A name for an entry: a hash of all parts and their borders."""
    total = hashlib.sha256()
    for part in parts:
        raw = part.encode() if isinstance(part, str) else part
        total.update(b"%d:" % len(raw))
        total.update(raw)
    return total.hexdigest()


def load(name: str) -> str | None:
    """The text of an entry; None if there is none or it is damaged."""
    path = folder() / (name + _SUFFIX)
    try:
        check, _, body = path.read_bytes().partition(b"\n")
        if check.decode("ascii") != hashlib.sha256(body).hexdigest():
            return None
        os.utime(path)
        return body.decode()
    except (OSError, UnicodeError):
        return None


def store(name: str, text: str) -> None:
    """Keep an entry; a cache that cannot be written to is no error."""
    body = text.encode()
    place = folder()
    with suppress(OSError):
        place.mkdir(parents=True, exist_ok=True)
        new = place / f"new-{os.getpid()}-{name}"
        try:
            new.write_bytes(hashlib.sha256(body).hexdigest().encode() + b"\n" + body)
            new.replace(place / (name + _SUFFIX))
        finally:
            new.unlink(missing_ok=True)
        _shrink(place)


def _shrink(place: Path) -> None:
    entries = [(path, path.stat()) for path in place.glob(f"*{_SUFFIX}")]
    total = sum(stat.st_size for _, stat in entries)
    for path, stat in sorted(entries, key=lambda entry: entry[1].st_mtime_ns):
        if total <= LIMIT:
            return
        path.unlink(missing_ok=True)
        total -= stat.st_size
