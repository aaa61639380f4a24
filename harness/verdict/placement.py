"""What a recording costs without a prediction, and what a prediction saves of that where the recording is laid on it.

As foretold, a level costs nothing, and one that is not so `WRONG` bits, unless it was read beside an edge, and is as
foretold if that strayed over the moment: then it costs what so much straying does. What is unsettled or was not
recorded is free to both sides. A recording may begin before the slot is up, the less likely the longer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property, reduce
from operator import or_

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from numpy.typing import NDArray

from ..capture.record import Floats, Ints
from .clock import Clock
from .everywhere import Spectrum
from .null import entry_bits, line_bits
from .rows import Moments, ReadRows, Words, mask_of

WRONG = 60.0  # bits for a level that is not as foretold
MUCH = 0.1  # of the rows: more that are to be summed are so among all
TELLING = 0.25  # of the cost of the dearest line in a row: lines that are cheaper there tell little


@dataclass(frozen=True)
class Recording:
    """The recording's side: made once, compared with many predictions.

    `cost` is what each level costs without a prediction, in bits: shape (lines, rows).
    """

    moments: Moments
    rows: ReadRows
    cost: Floats
    clock: Clock | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The lines by bit: those that were recorded, and once more those that must have been held at one rise."""
        return (*self.moments.names, *(name for name, _ in self.moments.held))

    @property
    def handicap(self) -> float:
        """By how many bits the times of the edges cost more by this clock than by the best one, less what it is worth
        that they keep to it."""
        return self.clock.handicap - self.clock.credit if self.clock else 0.0

    @cached_property
    def spectra(self) -> dict[int, Spectrum]:
        """Those that were made, by size."""
        return {}

    @cached_property
    def null_bits(self) -> float:
        """The length of the recording without a prediction."""
        return float(self.cost.sum())

    def of_lines(self, mask: int) -> Recording:
        """The same of these lines alone, a bit each; and of what it is worth that edges keep to the clock, the share of
        these lines' edges."""
        theirs = mask >> np.arange(len(self.names)) & 1
        word = self.rows.known.dtype.type(mask)
        clock = self.clock
        if clock and clock.credit:
            moved = self.rows.moved
            edges, every = (int(np.bitwise_count(some).sum()) for some in (moved & word, moved))
            clock = replace(clock, credit=clock.credit * (edges / every if every else 1.0))
        rows = replace(self.rows, known=self.rows.known & word)
        return replace(self, rows=rows, cost=self.cost * theirs[:, None], clock=clock)

    def without_proof(self, prediction: ReadRows, offset: int) -> int:
        """The lines that prove nothing of the design where the recording is laid at this offset, a bit each: inputs,
        which a hand moved; and outputs that rest wherever they are compared, though they moved before, as the slot came
        up, or move later."""
        part, _, known = _over(self, prediction, offset)
        known = known & self.rows.known[part]
        moved = self.rows.moved[part.start : part.stop - 1] & known[1:] & known[:-1]
        return ~_ever([moved]) & (1 << len(self.names)) - 1 | mask_of(self.names, INPUT_LINES)

    @cached_property
    def costs(self) -> Floats:
        """By line the cost before each row, up to the last that costs anything: shape (lines, rows + 1)."""
        some = np.flatnonzero(self.cost.any(axis=0))
        parts = self.cost[:, : int(some[-1]) + 1 if len(some) else 0]
        return np.pad(np.cumsum(parts, axis=1), ((0, 0), (1, 0)))

    @cached_property
    def known(self) -> int:
        """How many levels are known, of all lines."""
        return int(np.bitwise_count(self.rows.known).sum())

    @cached_property
    def _gaps(self) -> list[NDArray[np.int32]]:
        """By line the rows in which its level is not known."""
        known = self.rows.known
        return [np.flatnonzero(~known >> bit & 1).astype(np.int32) for bit in range(len(self.names))]

    def between(self, start: int, stop: int) -> tuple[Floats, Ints]:
        """By line what the rows from `start` on and before `stop` cost, and how many levels are known in them."""
        last = self.costs.shape[1] - 1
        gaps = np.array([np.diff(np.searchsorted(rows, (start, stop)))[0] for rows in self._gaps])
        return self.costs[:, min(stop, last)] - self.costs[:, min(start, last)], stop - start - gaps

    @cached_property
    def bounds(self) -> tuple[int, int]:
        """The first row in which anything is known, and the one after the last."""
        known = np.flatnonzero(self.rows.known)
        return (int(known[0]), int(known[-1]) + 1) if len(known) else (0, 0)

    @cached_property
    def told(self) -> Words:
        """In each row the lines that tell something: those that cost a good part of what the dearest does."""
        dear = self.cost >= np.maximum(self.cost.max(axis=0) * TELLING, 1e-9)
        bits = np.arange(len(self.names), dtype=self.rows.known.dtype)[:, None]
        told: Words = np.bitwise_or.reduce(dear.astype(bits.dtype) << bits, axis=0)
        return told


def timed(moments: Moments, rows: ReadRows, clock: Clock) -> Recording:
    """The recording's side of rows that were read by a clock."""
    cost = np.zeros((moments.lines, len(rows.levels)))
    for bit in range(len(moments.names)):
        part = line_bits(rows.levels, rows.known, bit)
        cost[bit, : len(part)] = part
    return Recording(moments, rows, cost, clock)


def written(names: tuple[str, ...], rows: ReadRows, signs: int) -> Recording:
    """The recording's side of a list that an eye wrote down, of so many different `signs`; the inputs are a list of
    their own."""
    bits = np.arange(len(names), dtype=rows.known.dtype)[:, None]
    read = (rows.known >> bits & 1).astype(np.float64)
    cost = np.zeros_like(read)
    inputs = np.array([name in INPUT_LINES for name in names])
    for some in (inputs, ~inputs):
        mask = sum(1 << bit for bit in np.flatnonzero(some).tolist())
        levels, known = (rows.levels & rows.known & mask).tolist(), (rows.known & mask).tolist()
        entries = [pair if pair[1] else None for pair in zip(levels, known, strict=True)]
        shares = read[some] / np.maximum(read[some].sum(axis=0), 1)
        cost[some] = shares * entry_bits(entries, signs)
    return Recording(Moments(names, ((0.0,),) * len(names)), rows, cost)


@dataclass(frozen=True)
class Placement:
    """One placement: the recording's row 0 is the prediction's row `offset`; `bits` it saves there, prior apart.

    `saved` is what each line saves if it is as foretold wherever it is compared, `wrong` how many of its levels are not
    so, `compared` how many are compared, each by line.
    """

    offset: int
    bits: float
    saved: Floats
    wrong: Ints
    compared: Ints

    @property
    def mismatches(self) -> int:
        return int(self.wrong.sum())


def set_ups(recording: Recording, offsets: Ints, slots: int) -> Floats:
    """The bits for beginning so many steps before the slot was up as is the case at each of these offsets: a hand
    seldom takes long, and so each further octave costs as much as the one before."""
    early = (-1 - recording.bounds[0] - offsets) / slots
    found: Floats = np.where(early > 0, 2 * np.log2(np.maximum(early, 0) + 2), 0.0)
    return found


def set_up(recording: Recording, offset: int, slots: int) -> float:
    """The same at one offset."""
    return float(set_ups(recording, np.array([offset]), slots)[0])


def place(recording: Recording, prediction: ReadRows, offset: int) -> Placement:
    """The recording laid at one offset."""
    part, _, known = _over(recording, prediction, offset)
    ours = recording.rows.known[part]
    open_ = ours & ~known
    less = np.flatnonzero(open_)  # rows in which the prediction leaves something open
    amiss = Amiss.of(recording, prediction, offset)
    lines = len(recording.names)
    saved, compared = recording.between(part.start, part.stop)
    count, strayed = np.zeros(lines, np.int64), np.zeros(lines)
    # To gather rows takes several times as long as to go through them.
    some: slice | Ints = slice(None) if len(less) > MUCH * len(ours) else less
    open_ = open_[some]
    amiss_bits, strayed_bits = (_ever(words) for words in ([amiss.wrong], amiss.strayed))
    for bit in range(lines):
        mask = open_ >> bit & 1
        if lost := np.count_nonzero(mask):
            saved[bit] -= recording.cost[bit, part][some] @ mask.astype(np.float64)
            compared[bit] -= lost
        if amiss_bits >> bit & 1:
            count[bit] = np.count_nonzero(amiss.wrong >> bit & 1)
        if strayed_bits >> bit & 1:
            strayed[bit] = amiss.line(bit).sum()
    return Placement(
        offset,
        float((saved - WRONG * count - strayed).sum()) - set_up(recording, offset, recording.rows.slots),
        saved - strayed,
        count,
        compared,
    )


def _ever(words: Iterable[Words]) -> int:
    """The bits that are set in any row."""
    return reduce(or_, (int(np.bitwise_or.reduce(some, initial=0)) for some in words))


def _over(recording: Recording, prediction: ReadRows, offset: int) -> tuple[slice, Words, Words]:
    """The rows of a recording that lie on a prediction, and the levels and known bits of the prediction there."""
    begin = max(0, -offset)
    end = max(min(len(recording.rows.levels), len(prediction.levels) - offset), begin)
    there = slice(begin + offset, end + offset)
    return slice(begin, end), prediction.levels[there], prediction.known[there]


@dataclass(frozen=True)
class Amiss:
    """The `rows` of a recording, rising, in which something is not as foretold: levels that are `wrong`, and by side
    those that are as foretold if the edge there has `strayed`."""

    recording: Recording
    rows: Ints
    wrong: Words
    strayed: tuple[Words, Words]

    @staticmethod
    def of(recording: Recording, prediction: ReadRows, offset: int) -> Amiss:
        part, theirs, known = _over(recording, prediction, offset)
        read = recording.rows
        wrong = (read.levels[part] ^ theirs) & known & read.known[part]
        rows = np.flatnonzero(wrong)
        wrong = wrong[rows]
        rows += part.start
        strayed = []
        for side, ahead in enumerate((1, -1)):
            may = wrong & read.strays.sides[side][rows] if read.strays else wrong[:0]
            some = np.flatnonzero(may)
            out = np.zeros_like(wrong)
            if len(some):
                same = np.zeros_like(may[some])
                for apart in {1, read.slots}:
                    there = rows[some] + offset + ahead * apart
                    inside = (there >= 0) & (there < len(prediction.levels))
                    there = np.clip(there, 0, len(prediction.levels) - 1)
                    other = (prediction.levels[there] ^ read.levels[rows[some]]) & prediction.known[there]
                    same |= np.where(inside, ~other, ~other.dtype.type(0))
                out[some] = may[some] & same
            strayed.append(out)
            wrong = wrong & ~out
        return Amiss(recording, rows, wrong, (strayed[0], strayed[1]))

    def line(self, bit: int) -> Floats:
        """What the edges of a line that strayed cost, by row."""
        cost = np.zeros(len(self.rows))
        if strays := self.recording.rows.strays:
            for side, strayed in enumerate(self.strayed):
                some = np.flatnonzero(strayed >> bit & 1)
                if len(some):
                    cost[some] = strays.bits(side, bit, self.rows[some])
        return cost


def differing(recording: Recording, prediction: ReadRows, offset: int) -> tuple[Ints, Words]:
    """The rows of the recording that are not as foretold at this offset, and which of their levels."""
    amiss = Amiss.of(recording, prediction, offset)
    some = np.flatnonzero(amiss.wrong)
    return amiss.rows[some], amiss.wrong[some]


def compared_at(recording: Recording, prediction: ReadRows, offset: int) -> tuple[int, int]:
    """How many steps and bits are compared at this offset."""
    rows = recording.rows
    low, high = max(0, -offset), max(min(len(rows.levels), len(prediction.levels) - offset), 0)
    told = rows.known[low:high] & prediction.known[low + offset : max(high, low) + offset]
    steps = (np.flatnonzero(told) + low) // rows.slots
    return int(np.count_nonzero(np.diff(steps, prepend=-1))), int(np.bitwise_count(told).sum())


def lowest(word: int) -> int:
    """The number of the lowest bit that is set."""
    return (word & -word).bit_length() - 1
