"""Reads the declarations at the head of a value change dump (IEEE 1364-2005, clause 18)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from .errors import CaptureError

SECONDS = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9, "ps": 10**12, "fs": 10**15}


@dataclass(frozen=True)
class Variable:
    """A declared variable; `name` holds its scopes, joined by dots. Several may share one identifier."""

    name: str
    kind: str
    width: int
    identifier: bytes

    @property
    def leaf(self) -> str:
        return self.name.rsplit(".", 1)[-1]


def refusal(data: bytes, place: str, offset: int, what: str) -> CaptureError:
    """The error for what stands at `offset`, with its line."""
    line = data.count(b"\n", 0, offset) + 1
    remedy = "export the recording again as VCD (IEEE 1364), whole"
    return CaptureError(what, place=f"{place or 'dump'}, line {line}", remedy=remedy)


def read_header(data: bytes, place: str) -> tuple[tuple[Variable, ...], Fraction | None, int]:
    """The variables, the time unit in seconds (None where none is stated) and where the body begins."""
    variables: list[Variable] = []
    scopes: list[str] = []
    unit: Fraction | None = None
    position = 0
    section = re.compile(rb"\s*(\$[a-z]+)(\s+(?:.*?\s)??)\$end(?=\s|$)", re.DOTALL)
    while match := section.match(data, position):
        keyword, words = match[1], match[2].decode("utf-8", "replace").split()
        position = match.end()
        try:
            if keyword == b"$enddefinitions":
                return tuple(variables), unit, position
            if keyword == b"$timescale":
                unit = _timescale("".join(words))
            elif keyword == b"$scope":
                scopes.append(words[1])
            elif keyword == b"$upscope":
                scopes.pop()
            elif keyword == b"$var":
                name = ".".join([*scopes, "".join(words[3:])])
                variables.append(Variable(name, words[0], int(words[1]), words[2].encode()))
        except (IndexError, ValueError):
            text = " ".join([keyword.decode(), *words])
            raise refusal(data, place, match.start(1), f"the declaration '{text}' cannot be read") from None
    found = data[position:].split(maxsplit=1)
    if not found or found[0].startswith(b"$"):
        raise refusal(data, place, len(data), "the file ends before $enddefinitions (cut short?)")
    word = found[0][:40].decode("utf-8", "replace")
    at = data.index(found[0], position)
    raise refusal(data, place, at, f"'{word}' stands where a value change dump has a $ section")


def _timescale(text: str) -> Fraction:
    match = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*([munpf]?s)", text)
    if not match or not (number := Fraction(match[1].replace(",", "."))):
        raise ValueError(text)
    return number / SECONDS[match[2]]
