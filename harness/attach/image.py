"""The content of a serial memory, read from the file that a datasheet names."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from forelight.designs.toml_file import quoted
from forelight.sim.errors import SourceError

#: The instruction that reads.
READ = 0x03
#: What an erased place reads as.
ERASED = 0xFF
#: The largest image: as much as a 25LC256 holds.
MOST_BYTES = 1 << 15

_TOKEN = re.compile(r"@[0-9A-Fa-f]+|[0-9A-Fa-f]{1,2}")
_REMARK = re.compile(r"//[^\n]*|/\*.*?\*/", re.DOTALL)


def read_image(path: Path) -> bytes:
    """The bytes of an image: as they are, or from hexadecimal digits (`.hex`, as IEEE 1364-2005, 17.2.9 has them).

    Raises SourceError for a file that cannot be read, is empty, or holds more than `MOST_BYTES`.
    """
    try:
        if path.suffix != ".hex":
            with path.open("rb") as file:
                data = file.read(MOST_BYTES + 1)
        else:
            data = _from_digits(path.read_text(encoding="utf-8"), path)
    except (OSError, UnicodeError) as error:
        raise _wrong(path, f"cannot be read: {error}", "check the file") from None
    if not 0 < len(data) <= MOST_BYTES:
        found = f"more than {MOST_BYTES}" if data else "no"
        raise _wrong(path, f"the image holds {found} bytes", f"give 1 to {MOST_BYTES}")
    return data


def _from_digits(text: str, path: Path) -> bytes:
    data = bytearray()
    at = 0
    for line, word in _words(text):
        if not _TOKEN.fullmatch(word):
            raise _wrong(
                path,
                f"line {line}: {quoted(word)} is no byte",
                "write bytes of two hexadecimal digits, or @ADDRESS",
            )
        if word[0] == "@":
            at = int(word[1:], 16)
            continue
        if at >= MOST_BYTES:
            raise _wrong(path, f"line {line}: a byte at {at:x}h", f"addresses are 0 to {MOST_BYTES - 1:x}h")
        data.extend([ERASED] * (at + 1 - len(data)))
        data[at] = int(word, 16)
        at += 1
    return bytes(data)


def _words(text: str) -> Iterator[tuple[int, str]]:
    plain = _REMARK.sub(lambda found: "\n" * found[0].count("\n") or " ", text)
    for number, line in enumerate(plain.split("\n"), 1):
        yield from ((number, word) for word in line.split())


def _wrong(path: Path, found: str, remedy: str) -> SourceError:
    return SourceError(found, place=str(path), remedy=remedy)
