"""Reads value change dumps (IEEE 1364-2005, clause 18): their declarations, and their changes as arrays.

Theory of operation. The header is small and is read word by word. The body is cut into pieces of some
100 kilobytes at time stamps, and each piece is handled as one array of bytes: words are found by their
surrounding blanks, told apart by their first character, and all numbers, levels and identifiers of the
piece are converted together and sorted by identifier. A word after a vector, real or string change is its
identifier, whatever it looks like. Sections such as `$comment` are skipped up to their `$end`; the dump sections
(`$dumpvars` and so on) hold ordinary changes, and where their `$end` is missing the next section or time stamp ends
them. Changes before the first time stamp are of time 0. What cannot be read is refused with its line.

Some writers print time stamps with a decimal point. Such a dump is read again with its times in the decimal fraction
of its unit that makes all of them whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..errors import CaptureError
from ..frozen import frozen
from ..levels import LEVEL, OTHER, UNKNOWN
from ..units import SECONDS
from .columns import Bytes, Ints, integers

#: Bits of the widest variable that is read; IEEE 1364-2005, 3.3.1, asks for 65536 at least.
WIDEST = 1 << 24
#: The time units that a dump may state: a thousandth to a million of the standard's.
UNITS = Fraction(1, 1000), Fraction(10**6)
#: Decimals of a time stamp that count.
DECIMALS = 15


@frozen
class Variable:
    """A declared variable; `name` holds its scopes, joined by dots. Several may share one identifier."""

    name: str
    kind: str
    width: int
    identifier: bytes

    @property
    def leaf(self) -> str:
        return self.name.rsplit(".", 1)[-1]

    @property
    def holds_bits(self) -> bool:
        """Whether its values are bits: not real numbers, strings or events."""
        return self.width > 0 and not self.kind.startswith(("real", "string", "event"))


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
                return tuple(dict.fromkeys(variables)), unit, position
            if keyword == b"$timescale":
                unit = _timescale("".join(words))
            elif keyword == b"$scope":
                scopes.append("".join(words[1:]))  # some writers leave the name out
            elif keyword == b"$upscope":
                scopes.pop()
            elif keyword == b"$var":
                name = ".".join([scope for scope in scopes if scope] + ["".join(words[3:])])
                variables.append(Variable(name, words[0], _width(words[1]), words[2].encode()))
        except (IndexError, ValueError):
            text = " ".join([keyword.decode(), *words])[:80]
            raise refusal(data, place, match.start(1), f"the declaration '{text}' cannot be read") from None
    found = data[position:].split(maxsplit=1)
    if not found or found[0].startswith(b"$"):
        raise refusal(data, place, len(data), "the file ends before $enddefinitions (cut short?)")
    word = found[0][:40].decode("utf-8", "replace")
    at = data.index(found[0], position)
    raise refusal(data, place, at, f"'{word}' stands where a value change dump has a $ section")


def _width(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,8}", text) or int(text) > WIDEST:
        raise ValueError(text)
    return int(text)


def _timescale(text: str) -> Fraction:
    match = re.fullmatch(r"([0-9]{1,7}(?:[.,][0-9]{1,7})?)\s*([munpf]?s)", text)
    if not match or not UNITS[0] <= (number := Fraction(match[1].replace(",", "."))) <= UNITS[1]:
        raise ValueError(text)
    return number * SECONDS[match[2]]


Values = NDArray[np.uint64]
Levels = NDArray[np.uint8]


@frozen
class Dump:
    """The changes of a dump, by the place that an identifier has in `identifiers`, piece by piece in file order.

    `scalars` hold times (int64) and levels (0, 1 or 2, unknown) of variables of one bit; `vectors` hold times, values
    and masks of unknown bits of wider ones of up to 64 bits; `wide` holds times, and where in the text `data` the words
    begin and end, of those that are wider still. `unit` is the file's time unit in seconds, None when it states none;
    times count in this part of it: 1, or less where time stamps have decimals. `first` is the first instant at which
    anything is known, `last` the last time stamp.
    """

    variables: tuple[Variable, ...]
    identifiers: Sequence[bytes]
    unit: Fraction | None
    scalars: Mapping[int, list[tuple[Ints, Levels]]]
    vectors: Mapping[int, list[tuple[Ints, Values, Values]]]
    first: int
    last: int
    part: Fraction
    wide: Mapping[int, list[tuple[Ints, Ints, Ints]]]
    data: bytes
    place: str

    def changes(self, variable: Variable) -> tuple[Ints, Values, Values]:
        """Times, values and unknown masks of one variable of up to 64 bits, as written (times may repeat)."""
        if variable.width == 1:
            times, levels = self.levels(variable)
            return times, (levels == 1).astype(np.uint64), (levels == UNKNOWN).astype(np.uint64)
        parts = self.vectors.get(self.identifiers.index(variable.identifier), [])
        if not parts:
            return np.zeros(0, np.int64), np.zeros(0, np.uint64), np.zeros(0, np.uint64)
        times, values, unknown = (np.concatenate(columns) for columns in zip(*parts, strict=True))
        return times, values, unknown

    def levels(self, variable: Variable, bit: int = 0) -> tuple[Ints, Levels]:
        """Times and levels (0, 1 or 2, unknown) of one bit of a variable, as written (times may repeat)."""
        if variable.width > 64:
            return self._levels_of_wide(variable, bit)
        if variable.width > 1:
            times, values, unknown = self.changes(variable)
            levels = (values >> np.uint64(bit) & np.uint64(1)).astype(np.uint8)
            levels[(unknown >> np.uint64(bit) & np.uint64(1)).astype(bool)] = UNKNOWN
            return times, levels
        parts = self.scalars.get(self.identifiers.index(variable.identifier), [])
        if not parts:
            return np.zeros(0, np.int64), np.zeros(0, np.uint8)
        return np.concatenate([times for times, _ in parts]), np.concatenate([levels for _, levels in parts])

    def _levels_of_wide(self, variable: Variable, bit: int) -> tuple[Ints, Levels]:
        parts = self.wide.get(self.identifiers.index(variable.identifier), [])
        if not parts:
            return np.zeros(0, np.int64), np.zeros(0, np.uint8)
        times, starts, ends = (np.concatenate(columns) for columns in zip(*parts, strict=True))
        spots = ends - 1 - bit
        levels: Levels = LEVEL[np.frombuffer(self.data, np.uint8)[np.maximum(spots, starts)]]
        if levels.max() == OTHER:
            at = int(np.argmax(levels == OTHER))
            word = self.data[starts[at] - 1 : ends[at]][:40].decode("utf-8", "replace")
            raise refusal(self.data, self.place, int(starts[at]), NOT_BINARY.format(word))
        levels[(spots < starts) & (levels == 1)] = 0  # what is left out is 0, x or z
        return times, levels

    def times(self) -> Ints:
        """When anything changes, rising."""
        stored = (self.scalars, self.vectors, self.wide)
        every = [part[0] for found in stored for parts in found.values() for part in parts]
        return np.unique(np.concatenate([np.array([self.first]), *every]))


PIECE = 1 << 18  # bytes that are handled at a time, so that the work stays in the processor's cache
HASH = (1 << 63) - 1
DUMPS = {b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff"}
NOT_BINARY = "the vector '{}' is not binary"
#: A word that begins like a vector, real or string wants an identifier after it.
WANTS = np.zeros(256, bool)
WANTS[list(b"bBrRsS")] = True

_Numbers = NDArray[np.unsignedinteger]


def scan(data: bytes, place: str = "") -> Dump:
    """Read a whole dump. Raises CaptureError with the line for text that is damaged, truncated or no dump."""
    variables, unit, body = read_header(data, place)
    try:
        return _Scanner(data, place, variables, unit, 0).run(body)
    except _DecimalsError:
        places = [
            len(found[1].rstrip(b"0"))
            for found in re.finditer(rb"[\0- ]#[+-]?[0-9]+\.([0-9]+)(?=[\0- ])", data)
        ]
        return _Scanner(data, place, variables, unit, min(max(places), DECIMALS)).run(body)


class _DecimalsError(Exception):
    """Time stamps have decimals, and the scanner was not told of any."""


@dataclass
class _Words:
    """The words of one piece of the body, and their first bytes; `text` is the piece, `base` its place in the file."""

    text: Bytes
    base: int
    starts: Ints
    ends: Ints
    lead: Bytes

    def word(self, index: int) -> bytes:
        return self.text[self.starts[index] : self.ends[index]].tobytes()


class _Scanner:
    """State that lives from one piece of the body to the next."""

    def __init__(
        self, data: bytes, place: str, variables: tuple[Variable, ...], unit: Fraction | None, decimals: int
    ) -> None:
        self.decimals = decimals
        self.data, self.place, self.variables, self.unit = data, place, variables, unit
        self.text = np.frombuffer(data, np.uint8)
        self.identifiers = list(dict.fromkeys(variable.identifier for variable in variables))
        widths = {variable.identifier: variable.width for variable in variables}
        self.widths = np.array([widths[i] for i in self.identifiers] or [0], np.int64)
        keys = _keys_of(self.identifiers)
        self.order = np.argsort(keys)
        self.keys = keys[self.order]
        self.none = len(self.identifiers)  # the number of an identifier that is not declared
        small = np.flatnonzero(keys < 1 << 16)
        self.short = np.full(1 << 16, self.none, np.min_scalar_type(self.none))
        self.short[keys[small]] = small
        self.all_short = len(small) == len(keys)
        self.known = set(self.identifiers)
        self.skipping = False  # inside a section that holds no changes
        self.opened: int | None = None  # where the section that is still open begins
        self.first: int | None = None
        self.now = 0
        self.scalars: dict[int, list[tuple[Ints, Levels]]] = {}
        self.vectors: dict[int, list[tuple[Ints, Values, Values]]] = {}
        self.wide: dict[int, list[tuple[Ints, Ints, Ints]]] = {}

    def refuse(self, offset: int, what: str) -> CaptureError:
        return refusal(self.data, self.place, offset, what)

    def refuse_word(self, words: _Words, index: int, what: str) -> CaptureError:
        found = words.word(index)[:40].decode("utf-8", "replace")
        return self.refuse(words.base + int(words.starts[index]), what.format(found))

    def run(self, body: int) -> Dump:
        if self.text[-1] > ord(" "):
            raise self.refuse(len(self.data) - 1, "the file ends in the middle of a line (cut short?)")
        start = body
        while start < len(self.data):
            cut = self.data.find(b"\n#", start + PIECE)
            end = len(self.data) if cut < 0 else cut + 1
            self._piece(start, end)
            start = end
        if self.opened is not None:
            raise self.refuse(self.opened, "the section that begins here has no $end (cut short?)")
        return Dump(
            self.variables, self.identifiers, self.unit, self.scalars, self.vectors, self.first or 0, self.now,
            Fraction(1, 10**self.decimals), self.wide, self.data, self.place,
        )  # fmt: skip

    def _piece(self, start: int, end: int) -> None:
        text = self.text[start:end]
        blank = np.ones(len(text) + 2, bool)
        np.less_equal(text, ord(" "), out=blank[1:-1])
        bounds = np.flatnonzero(blank[1:] != blank[:-1])
        starts = bounds[::2]
        words = self._sections(_Words(text, start, starts, bounds[1::2], text[starts]))
        if not len(words.starts):
            return
        argument, head = _arguments(words.lead)
        if head[-1]:
            raise self.refuse_word(words, -1, "the change '{}' has no identifier (cut short?)")
        stamp = (words.lead == ord("#")) & ~argument
        plain = (LEVEL[words.lead] != OTHER) & ~argument & ~head
        odd = np.flatnonzero(~(stamp | plain | argument | head))
        if len(odd):
            raise self.refuse_word(words, int(odd[0]), "'{}' is neither a time stamp nor a change")
        now = self._times(words, stamp)
        if self.opened is not None and not self.skipping:
            since = np.searchsorted(words.starts, self.opened - words.base)
            if stamp[since:].any():
                self.opened = None  # a dump section without its $end
        vector = head & ((words.lead | 0x20) == ord("b"))
        named = plain.copy()
        named[1:] |= vector[:-1]
        rows = np.flatnonzero(named)
        self._store(words, rows, now[rows], plain[rows])

    def _sections(self, words: _Words) -> _Words:
        """Drop the $ words and, in sections that hold no changes, everything up to their $end."""
        marks = np.flatnonzero(words.lead == ord("$"))
        if not self.skipping and not len(marks):
            return words
        keep = np.ones(len(words.starts), bool)
        since = 0
        for index in marks.tolist():
            word = words.word(index)
            if word == b"$end" and (self.opened is not None or word not in self.known):
                if self.skipping:
                    keep[since:index] = False
                self.skipping, self.opened = False, None
            elif not self.skipping and re.fullmatch(rb"\$[a-z]+", word) and word not in self.known:
                self.skipping, self.opened = word not in DUMPS, words.base + int(words.starts[index])
                since = index
            else:
                continue  # text inside a comment, or an identifier that begins with $
            keep[index] = False
        if self.skipping:
            keep[since:] = False
        return _Words(words.text, words.base, words.starts[keep], words.ends[keep], words.lead[keep])

    def _times(self, words: _Words, stamp: NDArray[np.bool_]) -> Ints:
        """The time that holds at each word."""
        rows = np.flatnonzero(stamp)
        if self.first is None and not stamp[0]:
            self.first = 0  # what stands before the first time stamp is of time 0
        starts = words.starts[rows] + 1
        values, good = integers(words.text, starts, words.ends[rows] - starts)
        if self.decimals or not good.all():
            values = np.array([self._stamp(words, row) for row in rows.tolist()], np.int64)
        if self.first is None and len(values):
            self.first = self.now = int(values[0])
        times = np.concatenate([[self.now], values])
        back = np.flatnonzero(times[1:] < times[:-1])
        if len(back):
            found = f"time goes back from {times[back[0]]} to {times[back[0] + 1]} (two recordings joined?)"
            raise self.refuse_word(words, int(rows[back[0]]), found)
        self.now = int(times[-1])
        return times[np.cumsum(stamp)]

    def _stamp(self, words: _Words, index: int) -> int:
        """One time stamp, digit by digit: it may have decimals, and more zeros than fit into a word."""
        form = re.fullmatch(rb"#([+-]?[0-9]{1,99})(?:\.([0-9]*))?", words.word(index))
        if not form:
            raise self.refuse_word(words, index, "the time stamp '{}' is not a number")
        digits = (form[2] or b"").rstrip(b"0")
        if digits and not self.decimals:
            raise _DecimalsError
        time = int(form[1] + digits[: self.decimals].ljust(self.decimals, b"0"))
        if abs(time) >= 1 << 62:
            raise self.refuse_word(words, index, "the time stamp '{}' is too large")
        return time

    def _which(self, words: _Words, named: Ints, starts: Ints) -> _Numbers:
        """The number of the identifier that begins at `starts` in each of the words `named`."""
        keys = _keys(words.text, starts, words.ends[named] - starts)
        if self.all_short:
            which = self.short[np.minimum(keys, (1 << 16) - 1)]
        else:
            near = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
            which = np.where(self.keys[near] == keys, self.order[near], self.none).astype(self.short.dtype)
        strange = np.flatnonzero(which == self.none)
        if len(strange):
            raise self.refuse_word(
                words, int(named[strange[0]]), "the change '{}' is of no declared variable"
            )
        return which

    def _store(self, words: _Words, named: Ints, now: Ints, plain: NDArray[np.bool_]) -> None:
        """Sort the changes by identifier; `named` are the words that hold these, in `plain` ones after the level."""
        which = self._which(words, named, words.starts[named] + plain)
        order = np.argsort(which, kind="stable")
        which, now, plain = which[order], now[order], plain[order]
        at = named[order] - ~plain  # the words that hold the values
        width = self.widths[which]
        for narrow, rows in ((True, width == 1), (False, (width > 1) & (width <= 64))):
            if rows.any():
                part = slice(None) if rows.all() else rows
                self._store_sorted(words, narrow, which[part], now[part], at[part], plain[part])
        if (wide := width > 64).any():
            which, now, at, plain = which[wide], now[wide], at[wide], plain[wide]
            starts = words.base + words.starts[at] + ~plain
            ends = np.where(plain, starts + 1, words.base + words.ends[at])
            for rows in self._runs(which):
                self.wide.setdefault(int(which[rows.start]), []).append((now[rows], starts[rows], ends[rows]))

    def _runs(self, which: _Numbers) -> Iterator[slice]:
        """The rows of each identifier, of rows that are sorted by it."""
        bounds = np.flatnonzero(np.diff(which, prepend=self.none, append=self.none)).tolist()
        return (slice(begin, end) for begin, end in pairwise(bounds))

    def _store_sorted(
        self, words: _Words, narrow: bool, which: _Numbers, now: Ints, at: Ints, plain: NDArray[np.bool_]
    ) -> None:
        """The same for changes that are sorted, of variables of one bit or of wider ones."""
        if narrow:
            level = self._levels(words, at, np.where(plain, words.starts[at], words.ends[at] - 1))
            for rows in self._runs(which):
                self.scalars.setdefault(int(which[rows.start]), []).append((now[rows], level[rows]))
        else:
            value, unknown = self._vectors(words, at, plain, self.widths[which])
            for rows in self._runs(which):
                found = now[rows], value[rows], unknown[rows]
                self.vectors.setdefault(int(which[rows.start]), []).append(found)

    def _vectors(
        self, words: _Words, at: Ints, plain: NDArray[np.bool_], width: Ints
    ) -> tuple[Values, Values]:
        """Values and masks of unknown bits that stand in the words `at`."""
        first = words.starts[at] + ~plain
        last = np.where(plain, first, words.ends[at] - 1)
        value = np.zeros(len(at), np.uint64)
        unknown = np.zeros(len(at), np.uint64)
        for place in range(int(width.max())):
            # A short vector is extended with its leftmost bit where that is x or z, and with 0 otherwise.
            got = self._levels(words, at, np.maximum(last - place, first))
            inside = place < width
            one = inside & (got == 1) & (last - place >= first)
            value |= one.astype(np.uint64) << np.uint64(place)
            unknown |= (inside & (got == UNKNOWN)).astype(np.uint64) << np.uint64(place)
        return value, unknown

    def _levels(self, words: _Words, at: Ints, spots: Ints) -> Levels:
        """The levels at these places, a place for each of the words `at`."""
        levels: Levels = LEVEL[words.text[spots]]
        if levels.max() == OTHER:
            bad = int(at[np.argmax(levels == OTHER)])
            raise self.refuse_word(words, bad, NOT_BINARY)
        return levels


def _arguments(lead: Bytes) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Masks of the words that are identifiers of the word before, and of the words that want one.

    A word that begins like a vector, real or string wants the next one; in a row of such words every second
    one is therefore an identifier.
    """
    like = WANTS[lead]
    if not like.any():
        return like, like
    index = np.arange(len(lead))
    run_start = np.maximum.accumulate(np.where(like & ~np.r_[False, like[:-1]], index, -1))
    head = like & ((index - run_start) % 2 == 0)
    return np.r_[False, head[:-1]], head


def _keys(text: Bytes, starts: Ints, lengths: Ints) -> Ints:
    """One number for each identifier: its bytes where there are two or fewer, a hash of them where there
    are more."""
    keys = np.zeros(len(starts), np.int64)
    for place in range(int(lengths.max(initial=0))):
        inside = place < lengths
        byte = text[np.minimum(starts + place, len(text) - 1)].astype(np.int64)
        step = keys * 256 + byte if place < 2 else (keys * 6364136223846793005 + byte) & HASH | 1 << 16
        keys = np.where(inside, step, keys)
    return keys


def _keys_of(identifiers: Sequence[bytes]) -> Ints:
    lengths = np.array([len(i) for i in identifiers], np.int64)
    text = np.frombuffer(b"".join(identifiers), np.uint8)
    return _keys(text, np.cumsum(lengths) - lengths, lengths)
