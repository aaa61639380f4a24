"""Cuts long blocks of LLVM text."""

from __future__ import annotations

import re
from collections.abc import Iterator

#: Lines of a piece of a block.
PIECE = 1000

_LABEL = re.compile(r'([\w.$-]+|"[^"]*"):')
_ARM = re.compile(r', %([\w.$-]+|"[^"]*")( ?\])')
#: What stands in the middle of a block, whole in its line.
_PLAIN = re.compile(r"  (%[\w.$-]+ = (?!phi )(?!alloca )|store )")


def in_pieces(text: str) -> str:
    """The same functions, with no block of plain instructions much longer than PIECE lines.

    Without optimisation LLVM makes machine code of a block in time that grows with the square of the block, and of the
    same lines in several blocks in time that is linear in them (5000 flip-flops: 3.0 s and 0.12 s).
    """
    return "\n".join(_functions(text.splitlines()))


def _functions(lines: list[str]) -> Iterator[str]:
    begin = 0
    for at, line in enumerate(lines):
        if line == "}":
            yield from _divided(lines[begin : at + 1])
            begin = at + 1
    yield from lines[begin:]


def _divided(lines: list[str]) -> Iterator[str]:
    last = _last_allocation(lines)
    made: list[str] = []
    ends: dict[str, str] = {}  # of a block that was cut: its last piece, from which others are entered
    block, length = "", 0
    for at, line in enumerate(lines):
        label = _LABEL.match(line)
        if label:
            block, length = label[1], 0
        elif length >= PIECE and at > last and _PLAIN.match(line):
            piece = f"piece{at}"
            made += [f"  br label %{piece}", f"{piece}:"]
            ends[block], length = piece, 0
        made.append(line)
        length += 1
    for line in made:
        yield (
            _ARM.sub(lambda arm: f", %{ends.get(arm[1], arm[1])}{arm[2]}", line)
            if " = phi " in line
            else line
        )


def _last_allocation(lines: list[str]) -> int:
    """Memory on the stack is had in the first block alone: elsewhere a loop would take more each time."""
    return max((at for at, line in enumerate(lines) if " = alloca " in line), default=0)
