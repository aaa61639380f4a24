"""By how many bits a prediction writes a recording shorter than knowing no design does, wherever it may begin in it.

`Recording` is made once: its rows, and what each level costs without a prediction. Then every prediction is one call,
whatever it is a prediction of: the design, another slot, a wiring fault, a fault in silicon. `fit(recording, rows)`
takes the settled levels at the recording's own moments, from a golden (`Readout.foretold`) or made by hand. `Fit.bits`
are summed over all placements, each with its prior; the difference of two predictions' bits is the logarithm of their
odds, their own priors apart. Nothing of the recording's side is computed again.

Theory of operation. As foretold, a level costs nothing, and one that is not so `WRONG` bits, unless it was read beside
an edge, and is as foretold if that strayed over the moment: then it costs what so much straying does. What is unsettled
or was not recorded is free to both sides. A recording may begin before the slot is up, the less likely the longer. A
short one is laid at all placements at once by Fourier transforms, and the best are compared in full. For a long one
most placements are ruled out by some telling rows, those at which most bits are saved, spread over the recording; where
thousands are alike, as in a run that repeats itself, some stand for all.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, reduce
from itertools import chain, pairwise
from operator import or_
from typing import Any

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from numpy.typing import NDArray

from ..capture.record import Floats, Ints
from .clock import Clock
from .everywhere import Everywhere, Spectrum, fast_length
from .null import entry_bits, line_bits
from .rows import Moments, ReadRows, Words, mask_of

WRONG = 60.0  # bits for a level that is not as foretold
PROBES = (
    12,
    256,
    1024,
)  # telling rows by which placements are ruled out: some of many placements, many of some
SHORT = 20_000  # placements: where there are fewer, the first are four times as many
LOOKED_AT = (64, 12)  # placements that are left after each
AT_ONCE = 2048  # placements that are looked at by the second, if as many are alike by the first
BAD = 2  # points for a level that is not as foretold, where one that is counts 1
WHOLE = 3  # placements that are looked at because nothing in them is otherwise than foretold
FAR_OFF = 60  # points by which another may be worse than the best by the telling rows
TELLING = 0.25  # of the cost of the dearest line in a row: lines that are cheaper there tell little
MUCH = 0.1  # of the rows: more that are to be summed are so among all
EVERYWHERE = 1 << 14  # rows of recording and prediction, up to which all placements are looked at
MOST_AT_ONCE = 1 << 18  # rows and placements of which all are looked at
OVER = 1  # steps by which a recording may end after its prediction: the last may be cut
NEVER = -1e9


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
        return _before(self.cost[:, : int(some[-1]) + 1 if len(some) else 0], np.float64)

    @cached_property
    def counts(self) -> Ints:
        """By line how many levels are known before each row: shape (lines, rows + 1)."""
        bits = np.arange(len(self.names), dtype=self.rows.known.dtype)[:, None]
        return _before(self.rows.known >> bits & 1, np.int32)

    def between(self, start: int, stop: int) -> tuple[Floats, Ints]:
        """By line what the rows from `start` on and before `stop` cost, and how many levels are known in them."""
        last = self.costs.shape[1] - 1
        return (
            self.costs[:, min(stop, last)] - self.costs[:, min(start, last)],
            (self.counts[:, stop] - self.counts[:, start]).astype(np.int64),
        )

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

    def _probes(self, start: int, stop: int, count: int) -> Ints:
        """So many telling rows between these, spread evenly."""
        weight = self.cost[:, start:stop].sum(axis=0)
        parts = np.linspace(0, stop - start, min(count, stop - start) + 1).astype(np.int64)
        best = [a + int(weight[a:b].argmax()) for a, b in pairwise(parts.tolist())]
        return np.array([row + start for row in best if weight[row] > 0] or [start], np.int64)

    def telling(self, start: int, stop: int) -> tuple[Ints, ...]:
        """Few, more, many and yet more telling rows between these."""
        return tuple(self._probes(start, stop, count) for count in (PROBES[0], 4 * PROBES[0], *PROBES[1:]))


def _before(parts: NDArray[Any], kind: type) -> NDArray[Any]:
    """The sums of the parts before each one, and of all, by line."""
    sums = np.zeros((len(parts), parts.shape[1] + 1), kind)
    np.cumsum(parts, axis=1, out=sums[:, 1:])
    return sums


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


@dataclass(frozen=True)
class Fit:
    """`bits` that the prediction saves over all `places` (the best first), of which each weighs 2**-`prior`.

    `alike` is how many placements each of those that are listed stands for.
    """

    bits: float
    prior: float
    places: tuple[Placement, ...]
    alike: float = 1.0

    @property
    def best(self) -> Placement:
        return self.places[0]


NOWHERE = Fit(NEVER, 0.0, ())


def fit(
    recording: Recording,
    prediction: ReadRows,
    *,
    before: bool = True,
    stated: int | None = None,
    pinned: int | None = None,
) -> Fit:
    """What the prediction saves, over all places at which the recording may begin; `bits` are `NEVER` where it is too
    long to lie in the prediction.

    `before` says whether it may begin before the prediction does: in the set-up. The recording is as likely to begin at
    the `stated` offset as anywhere else; if one is `pinned`, there alone.
    """
    span = Span.of(recording, prediction, before, pinned)
    if span is None:
        return NOWHERE
    prior = math.log2(span.count)
    bits, found, alike = _everywhere(recording, prediction, span) or _somewhere(recording, prediction, span)
    bits -= prior
    if stated is not None and span.low <= stated < span.low + span.count * span.slots:
        there = place(recording, prediction, stated)
        bits = summed([bits - 1.0, there.bits - 1.0])
        found = sorted([there, *(p for p in found if p.offset != stated)], key=lambda p: -p.bits)
    return Fit(bits, prior, tuple(found), alike)


def _everywhere(
    recording: Recording, prediction: ReadRows, span: Span
) -> tuple[float, list[Placement], float] | None:
    """What is saved over all placements, the best of them, and how many each stands for; None where there are too many
    rows."""
    every = span.everywhere(recording)
    if every is None:
        return None
    saved, wrong = every.all
    most = saved - WRONG * wrong - span.set_up(recording)
    # Where no edge may have strayed that is exact, and the first few stand for all.
    exact = recording.rows.strays is None or not any(map(len, chain(*recording.rows.strays.rows)))
    best = np.argsort(-most, kind="stable")[: WHOLE if exact else LOOKED_AT[0]]
    best = best[most[best] > most[best[0]] - WRONG]
    found = [place(recording, prediction, int(offset)) for offset in span.offsets(best)]
    laid = np.array([there.bits for there in found])
    # Edges that strayed have their price at the others too: that of the one which pays least for it.
    most -= max(float((most[best] - laid).min()), 0.0)
    most[best] = laid
    found.sort(key=lambda there: -there.bits)
    alike = (most > found[0].bits - 1).sum() / sum(there.bits > found[0].bits - 1 for there in found)
    return summed(most), found, max(float(alike), 1.0)


def _somewhere(
    recording: Recording, prediction: ReadRows, span: Span
) -> tuple[float, list[Placement], float]:
    """The same by the likeliest placements alone."""
    offsets, alike = candidates(recording, span, recording.telling(*recording.bounds))
    found = sorted((place(recording, prediction, int(offset)) for offset in offsets), key=lambda p: -p.bits)
    return summed([there.bits for there in found]) + math.log2(alike), found, alike


def summed(bits: Sequence[float] | Floats) -> float:
    """The logarithm of the sum of powers of two."""
    some = np.asarray(bits)
    most = float(some.max())
    return most + math.log2(float(np.exp2(np.maximum(some - most, -60.0)).sum()))


@dataclass(frozen=True)
class Span:
    """The placements of a recording: `count` offsets from `low` on, a step apart; and the prediction's rows,
    with so many unknown ones before and after that each offset lies in them."""

    levels: Words
    known: Words
    low: int
    count: int
    slots: int

    @staticmethod
    def of(
        recording: Recording, prediction: ReadRows, before: bool = True, pinned: int | None = None
    ) -> Span | None:
        first, stop = recording.bounds
        slots = prediction.slots
        length = len(prediction.levels)
        high = (length - stop) // slots + (OVER if recording.clock else 0)
        early = 1 if before else (-1 if recording.clock else 0)
        # Only the line that ends the set-up shows that most of a recording lies in it.
        most = stop if recording.moments.held else first + (stop - first) // 2
        low = -((most if before else first) // slots) + early
        if pinned is not None:
            low = high = pinned // slots
        if high < low or stop <= first:
            return None
        front = max(0, -low * slots)
        back = max(0, high * slots + len(recording.rows.levels) - length)
        levels, known = (np.pad(column, (front, back)) for column in (prediction.levels, prediction.known))
        return Span(levels, known, low * slots, high - low + 1, slots)

    @property
    def front(self) -> int:
        return max(0, -self.low)

    def offsets(self, numbers: Ints) -> Ints:
        return self.low + numbers * self.slots

    def set_up(self, recording: Recording) -> Floats:
        """What it costs at each placement that the recording begins before the slot was up."""
        return set_ups(recording, self.offsets(np.arange(self.count)), self.slots)

    def running(self, recording: Recording) -> NDArray[np.float32]:
        """What the recording saves at most before each row from its first known one on, by placement: a level beside
        an edge which may have strayed counts as foretold."""
        first, stop = recording.bounds
        rows = recording.rows
        there = slice(first + self.low + self.front, None)
        windows = [
            np.lib.stride_tricks.sliding_window_view(column[there], stop - first)[:: self.slots][: self.count]
            for column in (self.levels, self.known)
        ]
        all_known = np.bitwise_count(rows.known[first:stop])
        worth = recording.cost[:, first:stop].sum(axis=0) / np.maximum(all_known, 1)
        saved = np.bitwise_count(windows[1] & rows.known[first:stop]) * worth.astype(np.float32)
        saved -= np.float32(WRONG) * np.bitwise_count(
            (windows[0] ^ rows.levels[first:stop]) & windows[1] & rows.sure[first:stop]
        )
        return np.pad(np.cumsum(saved, axis=1, dtype=np.float32), ((0, 0), (1, 0)))

    def everywhere(self, recording: Recording, most: int = EVERYWHERE) -> Everywhere | None:
        """The recording at all of these; None where the transforms would be longer than `most`."""
        count = min(len(recording.rows.levels), MOST_AT_ONCE)
        size = fast_length(len(self.levels) + count)
        if size > most:
            return None
        if size not in recording.spectra:
            recording.spectra[size] = Spectrum(recording.rows, recording.cost, count, size)
        first = self.low + self.front
        return Everywhere(recording.spectra[size], (self.levels, self.known), first, self.count, self.slots)


def candidates(
    recording: Recording, span: Span, telling: tuple[Ints, ...], count: int = LOOKED_AT[1]
) -> tuple[Ints, float]:
    """The `count` most likely offsets by the telling rows, and how many offsets each of them stands for: those at
    which most is as foretold, and those at which all is."""
    few, more, many, most = telling
    few, many = (more, most) if span.count < SHORT else (few, many)
    levels, known = recording.rows.levels, recording.told
    good, wrong = np.zeros(span.count, np.uint16), np.zeros(span.count, np.uint16)
    for row in few.tolist():
        begin = row + span.low + span.front
        part = slice(begin, begin + span.count * span.slots, span.slots)
        told = span.known[part] & known[row]
        good += np.bitwise_count(told)
        told &= span.levels[part] ^ levels[row]
        wrong += np.bitwise_count(told)
    numbers, stand = _likely(good.astype(np.int32), wrong.astype(np.int32), LOOKED_AT[0], AT_ONCE)
    at = many[None, :] + (span.offsets(numbers) + span.front)[:, None]
    told = span.known[at] & known[many]
    good_ = np.bitwise_count(told).sum(axis=1, dtype=np.int32)
    wrong_ = np.bitwise_count((span.levels[at] ^ levels[many]) & told).sum(axis=1, dtype=np.int32)
    chosen, alike = _likely(good_, wrong_, count, count)
    return span.offsets(numbers[chosen]), alike * stand


def _likely(good: NDArray[np.int32], wrong: NDArray[np.int32], count: int, most: int) -> tuple[Ints, float]:
    """The numbers of the best `count` and of those in which nothing is wrong, `most` at most; and how many each stands
    for, where more than `most` are the best."""
    score = good - BAD * wrong
    whole = np.where(wrong == 0, good, -1)
    best_whole = _best(whole, WHOLE) & (whole > 0)
    top = np.flatnonzero(score == score.max())
    if len(top) > most:
        some = top[np.linspace(0, len(top) - 1, most).astype(np.int64)]
        both = np.union1d(some, np.flatnonzero(best_whole)[: 2 * WHOLE])
        return both, len(top) / np.count_nonzero(score[both] == score.max())
    chosen = (_best(score, count) & (score >= score.max() - FAR_OFF)) | best_whole
    numbers = np.flatnonzero(chosen)
    if len(numbers) > most:
        numbers = numbers[np.argsort(-score[numbers] - FAR_OFF * (wrong[numbers] == 0), kind="stable")[:most]]
    return numbers, 1.0


def _best(score: NDArray[np.int32], count: int) -> NDArray[np.bool_]:
    """Which are among the best so many, or as good as the last of them."""
    least = np.partition(score, -count)[-count] if len(score) > count else score.min()
    best: NDArray[np.bool_] = score >= least
    return best


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
