"""By how many bits a prediction writes a recording shorter than knowing no design does, wherever it may begin in it.

A `Recording` is made once, and what it costs without a prediction is never computed again. Then every prediction is one
call, whatever it is a prediction of: the design, another slot, a wiring fault, a fault in silicon. `fit(recording,
rows)` takes the settled levels at the recording's own moments, from a golden (`Readout.foretold`) or made by hand.
`Fit.bits` are summed over all placements, each with its prior; the difference of two predictions' bits is the logarithm
of their odds, their own priors apart.

Theory of operation. A short recording is laid at all placements at once by Fourier transforms, and the best are
compared in full. For a long one most placements are ruled out by some telling rows, those at which most bits are saved,
spread over the recording; where thousands are alike, as in a run that repeats itself, some stand for all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, pairwise

import numpy as np
from numpy.typing import NDArray

from ..capture.record import Floats, Ints
from .everywhere import Everywhere, Spectrum, fast_length
from .placement import WRONG, Placement, Recording, place, set_ups
from .rows import ReadRows, Words

PROBES = (12, 256, 1024)  # telling rows: some of many placements, many of some
SHORT = 20_000  # placements: where there are fewer, the first are four times as many
LOOKED_AT = (64, 12)  # placements that are left after each
AT_ONCE = 2048  # placements that are looked at by the second, if as many are alike by the first
BAD = 2  # points for a level that is not as foretold, where one that is counts 1
WHOLE = 3  # placements that are looked at because nothing in them is otherwise than foretold
FAR_OFF = 60  # points by which another may be worse than the best by the telling rows
EVERYWHERE = 1 << 14  # rows of recording and prediction, up to which all placements are looked at
MOST_AT_ONCE = 1 << 18  # rows and placements of which all are looked at
OVER = 1  # steps by which a recording may end after its prediction: the last may be cut
NEVER = -1e9


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
    offsets, alike = candidates(recording, span, telling(recording, *recording.bounds))
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


def telling(recording: Recording, start: int, stop: int) -> tuple[Ints, ...]:
    """Few, more, many and yet more telling rows between these, by which placements are ruled out."""
    return tuple(_probes(recording, start, stop, count) for count in (PROBES[0], 4 * PROBES[0], *PROBES[1:]))


def _probes(recording: Recording, start: int, stop: int, count: int) -> Ints:
    """So many telling rows between these, spread evenly."""
    weight = recording.cost[:, start:stop].sum(axis=0)
    parts = np.linspace(0, stop - start, min(count, stop - start) + 1).astype(np.int64)
    best = [a + int(weight[a:b].argmax()) for a, b in pairwise(parts.tolist())]
    return np.array([row + start for row in best if weight[row] > 0] or [start], np.int64)
