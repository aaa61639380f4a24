"""Clocked blocks that set very many registers, written as several blocks.

Yosys 0.70 takes time by the square of the assignments in one block: 16,000 take 19 s to be read and minutes in `proc`,
in blocks of 250 they take seconds. All that is moved is non-blocking: each assignment takes what was before the edge
(IEEE 1364-2005, 9.2.2), so registers that no statement sets together may as well have blocks of their own.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence

from forelight.sim.frozen import frozen

from .tokens import Verilog

#: Assignments from which on a block is taken apart, and how many each part has, unless one register takes more.
MANY, PART = 1000, 250
#: What may stand before a block where two may stand.
_BETWEEN = (";", "begin", "end", "generate", "endgenerate", "endfunction", "endtask")

#: The first and the last of some tokens.
Stretch = tuple[int, int]


@frozen
class _Assignment:
    place: Stretch
    names: tuple[str, ...]


@frozen
class _Fork:
    head: Stretch  # from `if` up to its bracket
    then: list[_Assignment | _Fork]
    other: list[_Assignment | _Fork]


Statements = list[_Assignment | _Fork]


class _LeftError(Exception):
    """A block that holds something else and stays as it is."""


def split_large_blocks(text: str) -> str:
    """The text with its large blocks taken apart; each statement keeps its line, by the directive `line`."""
    if text.count("<=") < MANY:
        return text
    verilog = Verilog.read(text)
    found, done = list[str](), 0
    for at in verilog.where("always", "always_ff"):
        last = verilog.statement_end(at + 1)
        if len(verilog.where("<=", start=at, end=last)) < MANY:
            continue
        try:
            words = _split(verilog, at, last)
        except _LeftError:
            continue
        found += [text[done : verilog.tokens[at].start], words]
        done = verilog.tokens[last].end
    return "".join([*found, text[done:]])


def _split(verilog: Verilog, at: int, last: int) -> str:
    body = verilog.control_end(at + 1) + 1
    clocked = {"posedge", "negedge"} & {verilog.word(n) for n in range(at, body)}
    files = {token.file for token in verilog.tokens[at : last + 1]}
    if verilog.word(at - 1) not in _BETWEEN or not clocked or len(files) > 1 or " " in files.pop():
        raise _LeftError
    statements = _read(verilog, body)[0]
    parts = _parted(statements, _part_of_each(statements))
    written: list[Stretch | str] = []
    for part in sorted(parts):
        written += [(at, body - 1), "begin", *parts[part], "end"]
    end = verilog.tokens[last]
    return _text(verilog, written) + f'\n`line {end.line} "{end.file}" 0\n'


def _read(verilog: Verilog, at: int) -> tuple[Statements, int]:
    """What a statement consists of, and its last token; raises _LeftError for all that is no assignment or choice."""
    word, found = verilog.word(at), Statements()
    if word == "begin":
        last, at = verilog.nest_end(at), at + 1
        while at < last:
            inner, end = _read(verilog, at)
            found += inner
            at = end + 1
        return found, last
    if word == "if":
        condition = verilog.close(at + 1)
        then, last = _read(verilog, condition + 1)
        other = Statements()
        if verilog.word(last + 1) == "else":
            other, last = _read(verilog, last + 2)
        return [_Fork((at, condition), then, other)], last
    last = verilog.until(at, ";")
    return ([_Assignment((at, last), _targets(verilog, at))] if last > at else []), last


def _targets(verilog: Verilog, at: int) -> tuple[str, ...]:
    """The names that a non-blocking assignment sets."""
    end = verilog.close(at) + 1 if verilog.word(at) == "{" else at + 1
    while verilog.word(end) == "[":
        end = verilog.close(end) + 1
    names, n = list[str](), at
    while n < end:
        if verilog.word(n) == "[":
            n = verilog.close(n)
        elif verilog.tokens[n].is_name():
            names.append(verilog.word(n))
        n += 1
    if verilog.word(end) != "<=" or not names:
        raise _LeftError
    return tuple(names)


def _assignments(statements: Statements) -> Iterator[_Assignment]:
    for one in statements:
        if isinstance(one, _Assignment):
            yield one
        else:
            yield from _assignments(one.then)
            yield from _assignments(one.other)


def _part_of_each(statements: Statements) -> dict[str, int]:
    """The part that each name goes to; those that one statement sets go to one."""
    first: dict[str, str] = {}

    def first_of(name: str) -> str:
        while first.setdefault(name, name) != name:
            name = first[name]
        return name

    for one in _assignments(statements):
        for name in one.names:
            first[first_of(name)] = first_of(one.names[0])
    counts = Counter(first_of(one.names[0]) for one in _assignments(statements))
    part_of, part, full = dict[str, int](), 0, 0
    for name, count in counts.items():
        if full and full + count > PART:
            part, full = part + 1, 0
        part_of[name], full = part, full + count
    return {name: part_of[first_of(name)] for name in first}


def _parted(statements: Statements, part_of: dict[str, int]) -> dict[int, list[Stretch | str]]:
    """What of the statements goes to each part, with the choices around it."""
    found = defaultdict[int, list[Stretch | str]](list)
    for one in statements:
        if isinstance(one, _Assignment):
            found[part_of[one.names[0]]].append(one.place)
            continue
        then, other = _parted(one.then, part_of), _parted(one.other, part_of)
        for part in then.keys() | other.keys():
            found[part] += [one.head, "begin", *then[part], "end"]
            if other[part]:
                found[part] += ["else begin", *other[part], "end"]
    return found


def _text(verilog: Verilog, pieces: Sequence[Stretch | str]) -> str:
    """Stretches of the text, each on its line, and words between them."""
    found, line = list[str](), 0
    for piece in pieces:
        if isinstance(piece, str):
            found.append(f" {piece} ")
            continue
        begin, end = (verilog.tokens[n] for n in piece)
        if begin.line != line:
            found.append(f'\n`line {begin.line} "{begin.file}" 0\n')
        found.append(verilog.text[begin.start : end.end])
        line = end.line
    return "".join(found)
