"""Damages real files: bytes, words, lines and numbers are changed, lost, doubled, moved and mixed with other files."""

from __future__ import annotations

import random
import re
from collections.abc import Sequence

#: What readers trip over: extremes, other bases, nesting, controls of terminals and text, words of the formats.
WORDS = (
    b"0",
    b"-1",
    b"1e400",
    b"nan",
    b"inf",
    b"99999999999999999999",
    b"-9223372036854775808",
    b"4294967296",
    b"1.5",
    b"0x",
    b"1" * 400,
    b"9" * 5000,
    b"",
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\x1b[2J",
    b"\xe2\x80\xae",
    b"\xe2\x80\x8b",
    b'"',
    b"'",
    b'"""',
    b"\\",
    b"\r",
    b"\n",
    b"\n\n\n",
    b"\t",
    b",",
    b";",
    b"|",
    b"=",
    b"#",
    b"[",
    b"]",
    b"[[",
    b"{",
    b"}",
    b"{ }",
    b"$",
    b"$end",
    b"$var",
    b"$dumpvars",
    b"$comment",
    b"#",
    b"#-5",
    b"b",
    b"bx",
    b"x",
    b"z",
    b"?",
    b"true",
    b"inf s",
    b"step",
    b"shown",
    b"time",
    b"outputs",
    b"o0",
    b"i7",
    b"repeat",
    b"PK\x03\x04",
    b"\xd9\xa3",
    b"1_0",
    b"\xcc\x81",
    b"2026-02-30",
    b"24:61:61",
    b"end",
    b"wire",
    b"cell",
    b"module",
    b"connect",
    b"width",
    b"begin",
    b"endmodule",
    b"assign",
)
LONGEST = 1 << 15


def damaged(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    """`data` after one to six injuries."""
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        data = rng.choice(INJURIES)(data, others, rng)
    return data[:LONGEST]


def _bytes(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    found = bytearray(data or b" ")
    for _ in range(rng.randint(1, 4)):
        found[rng.randrange(len(found))] = rng.choice((rng.randrange(256), rng.choice(found)))
    return bytes(found)


def _lose(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    begin = rng.randrange(len(data) + 1)
    return data[:begin] + data[begin + rng.choice((1, 2, 10, 100)) :]


def _cut(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def _insert(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.choice(WORDS) * rng.choice((1, 1, 1, 3, 200)) + data[at:]


def _word(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    spans = [match.span() for match in re.finditer(rb"[^\s,;|=\[\]{}\"']+", data)]
    if not spans:
        return data
    begin, end = rng.choice(spans)
    new = rng.choice(WORDS) if rng.random() < 0.5 else data[slice(*rng.choice(spans))]
    return data[:begin] + new + data[end:]


def _lines(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    at, to = rng.randrange(len(lines)), rng.randrange(len(lines))
    line = lines[at]
    if rng.random() < 0.6:
        del lines[at]
    if rng.random() < 0.6:
        lines.insert(to, line)
    return b"\n".join(lines)


def _mix(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    other = rng.choice(others)
    return data[: rng.randrange(len(data) + 1)] + other[rng.randrange(len(other) + 1) :]


INJURIES = (_bytes, _lose, _cut, _insert, _insert, _word, _word, _lines, _mix)
