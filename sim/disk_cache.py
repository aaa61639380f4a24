"""A bounded cache on disk, keyed by content, safe when several processes write at once, ignored where damaged."""

from __future__ import annotations

import hashlib
import os
import sys
import threading
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from .files import unfinished
from .frozen import frozen


class Door:
    """Whether what was found before is given again unseen: only in a command's own process.

    Nobody changes the code of that from within.
    """

    open = False


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


def stamps(files: Iterable[Path]) -> str:
    """What tells code that was changed: Python, and the sizes and times of these files."""
    known = (path.stat() for path in files)
    return f"{sys.version} {[(one.st_size, one.st_mtime_ns) for one in known]}"


#: Looking through all entries costs more than keeping one: it is done after stores of about this part of the limit.
PART = 16
#: Bytes of an entry besides its content: its checksum and the end of that line.
BORDER = 65


@frozen
class DiskCache:
    """Entries of one kind, told by their suffix; well beyond `limit` bytes, those unused for longest are dropped."""

    suffix: str
    limit: int

    def load(self, name: str) -> bytes | None:
        """The content of an entry; None if there is none or it is damaged."""
        path = folder() / (name + self.suffix)
        try:
            check, _, body = path.read_bytes().partition(b"\n")
            if check != hashlib.sha256(body).hexdigest().encode():
                return None
            os.utime(path)
        except OSError:
            return None
        return body

    def store(self, name: str, body: bytes) -> None:
        """Keep an entry; a cache that cannot be written to is no error."""
        place = folder()
        with suppress(OSError):
            place.mkdir(parents=True, exist_ok=True)
            with unfinished(place / f"new-{os.getpid()}-{threading.get_ident()}-{name}") as new:
                new.write_bytes(hashlib.sha256(body).hexdigest().encode() + b"\n" + body)
                new.replace(place / (name + self.suffix))
            if int.from_bytes(os.urandom(8)) * self.limit < (len(body) + BORDER) * PART << 64:
                self._shrink(place)

    def _shrink(self, place: Path) -> None:
        entries = [(path, path.stat()) for path in place.glob(f"*{self.suffix}")]
        total = sum(stat.st_size for _, stat in entries)
        for path, stat in sorted(entries, key=lambda entry: entry[1].st_mtime_ns):
            if total <= self.limit:
                return
            path.unlink(missing_ok=True)
            total -= stat.st_size
