"""Writes files whole or not at all, never over what was read, and leaves nothing unfinished behind."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from .errors import UsageError

Data = str | bytes | Iterable[bytes]


def write_whole(path: str | Path, data: Data) -> None:
    """Put `data` (text goes out as UTF-8, line ends as given) into the file `path`, replacing what was there.

    Large data may come piece by piece.

    The data goes to a temporary file beside the target and is moved into place once it is complete, so that
    a reader sees the old file or the new one and an interruption leaves no half. A symbolic link keeps
    pointing where it pointed; a target that is no ordinary file (a pipe, a terminal) cannot be replaced
    and is written straight.

    Raises UsageError when the file cannot be written, or is one of those that were read (`Inputs`).
    """
    write_together([(path, data)])


def write_together(files: Sequence[tuple[str | Path, Data]]) -> None:
    """The same for several files: all of them are replaced, or none."""
    with contextlib.ExitStack() as parts:
        ready: list[tuple[Path, Path]] = []
        for path, data in files:
            whole = data.encode() if isinstance(data, str) else data
            pieces = [whole] if isinstance(whole, bytes) else whole
            told = OUTPUTS.told(path, pieces)
            with _told(path):
                INPUTS.refuse(Path(path))
                target = Path(path).resolve()
                if target.exists() and not target.is_file() and not target.is_dir():
                    with target.open("wb") as stream:
                        stream.writelines(told)
                    continue
                part = parts.enter_context(unfinished(_beside(target, "part")))
                _write(part, target, told)
                ready.append((part, target))
        with UNFINISHED.undisturbed(), _told(files[-1][0]):
            _move(ready)


@contextlib.contextmanager
def unfinished(path: Path) -> Iterator[Path]:
    """While the file or folder `path` is made: it is removed if that is not finished, also by `UNFINISHED.remove`."""
    UNFINISHED.paths.add(path)
    try:
        yield path
    except BaseException:
        _remove(path)
        raise
    finally:
        UNFINISHED.paths.discard(path)


class Unfinished:
    """What is being made at this moment, for whoever ends the program."""

    def __init__(self) -> None:
        self.paths: set[Path] = set()
        self._kept_still, self._later = False, list[Callable[[], None]]()

    def remove(self) -> None:
        """Remove all of it; nothing more may be made."""
        for path in tuple(self.paths):
            _remove(path)

    def later(self, end: Callable[[], None]) -> bool:
        """Whether files are being moved into place; if so `end` is called as soon as they are there."""
        if self._kept_still:
            self._later.append(end)
        return self._kept_still

    @contextlib.contextmanager
    def undisturbed(self) -> Iterator[None]:
        """For as long as files are moved into place."""
        self._kept_still = True
        try:
            yield
        finally:
            self._kept_still = False
            for end in self._later:
                end()


class Inputs:
    """The files that a command has read, over which it writes nothing; none where a program reads and writes."""

    def __init__(self) -> None:
        self.minded = False
        self.hear: Callable[[str], None] | None = None
        self._read: set[tuple[int, int]] = set()

    def note(self, path: str | Path) -> None:
        """This file has been read, or will be; `hear` is told too."""
        if self.hear:
            self.hear(str(path))
        if self.minded:
            with contextlib.suppress(OSError, ValueError):
                found = Path(path).stat()
                self._read.add((found.st_dev, found.st_ino))

    def refuse(self, path: Path) -> None:
        """Raise UsageError for a file that was read."""
        if not self._read:
            return
        with contextlib.suppress(OSError, ValueError):
            found = path.stat()
            if (found.st_dev, found.st_ino) in self._read and path.is_file():
                raise UsageError(
                    "was read as an input, and would be overwritten",
                    place=str(path),
                    remedy="name another file for the output",
                )


class Outputs:
    """What is written: `hear` is told each path and each piece of its data, where there is somebody who wants that."""

    def __init__(self) -> None:
        self.hear: Callable[[str, bytes], None] | None = None

    def told(self, path: str | Path, pieces: Iterable[bytes]) -> Iterator[bytes]:
        """The pieces, each of them told as it is taken."""
        for piece in pieces:
            if self.hear:
                self.hear(str(path), piece)
            yield piece


UNFINISHED, INPUTS, OUTPUTS = Unfinished(), Inputs(), Outputs()


@contextlib.contextmanager
def _told(path: str | Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        full = error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", None))
        remedy = "make room" if full else "name a file in a folder that exists and that you may write to"
        raise UsageError(f"cannot write the file: {reason}", place=str(path), remedy=remedy) from None


def _beside(target: Path, ending: str) -> Path:
    return target.with_name(f".{target.name[:100]}.{os.urandom(6).hex()}.{ending}")


def _write(part: Path, target: Path, pieces: Iterable[bytes]) -> None:
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
        stream.writelines(pieces)
    # A temporary file is private; the finished one gets the rights of the old file, or of any new file.
    part.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask())


def _move(ready: Sequence[tuple[Path, Path]]) -> None:
    """Each part to its target; where one cannot be moved, those before it are put back as they were."""
    before: list[tuple[Path, Path | None]] = []
    try:
        for number, (part, target) in enumerate(ready, 1):
            old = None
            if number < len(ready) and target.is_file():
                old = _beside(target, "old")
                target.replace(old)
            before.append((target, old))
            part.replace(target)
    except OSError:
        for target, old in before:
            if old is not None:
                old.replace(target)
            elif target.is_file() and (target, old) != before[-1]:
                target.unlink()
        raise
    for _, old in before:
        if old is not None:
            _remove(old)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        import shutil  # takes 2 ms, and hardly anything replaced is a folder

        shutil.rmtree(path, ignore_errors=True)
    else:
        with contextlib.suppress(OSError):
            path.unlink()


def _umask() -> int:
    mask = os.umask(0o077)  # there is no way to read it without setting it
    os.umask(mask)
    return mask
