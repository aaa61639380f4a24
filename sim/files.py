"""Writes a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from .errors import UsageError


def write_whole(path: str | Path, data: str | bytes | Iterable[bytes]) -> None:
    """Put `data` (text goes out as UTF-8, line ends as given) into the file `path`, replacing what was there.

    Large data may come piece by piece.

    The data goes to a temporary file beside the target and is moved into place once it is complete, so that
    a reader sees the old file or the new one and an interruption leaves no half. A symbolic link keeps
    pointing where it pointed; a target that is no ordinary file (a pipe, a terminal) cannot be replaced
    and is written straight.

    Raises UsageError when the file cannot be written.
    """
    target = Path(path)
    whole = data.encode() if isinstance(data, str) else data
    parts = [whole] if isinstance(whole, bytes) else whole
    try:
        target = target.resolve()
        if target.exists() and not target.is_file() and not target.is_dir():
            with target.open("wb") as stream:
                stream.writelines(parts)
            return
        _replace(target, parts)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(
            f"cannot write the file: {reason}",
            place=str(path),
            remedy="name a file in a folder that exists and that you may write to",
        ) from None


def _replace(target: Path, parts: Iterable[bytes]) -> None:
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:100]}.", suffix=".part")
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.writelines(parts)
        # A temporary file is private; the finished one gets the rights of the old file, or of any new file.
        part.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask())
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def _umask() -> int:
    mask = os.umask(0o077)  # there is no way to read it without setting it
    os.umask(mask)
    return mask
