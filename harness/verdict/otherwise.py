"""What a recording may be that is not as foretold: steps lost or gained, lines that do as they like, wrong bits.

Each is a code of the same recording as `fit` is, summed over places in the same way, with a prior for how common it
is; so all are compared by their lengths. None of them says why: a cause that predicts something else is fitted itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..capture.record import Floats, Ints
from .fit import MOST_AT_ONCE, NEVER, Fit, Span, candidates, summed, telling
from .placement import WRONG, Amiss, Placement, Recording, differing, place, set_up, set_ups
from .rows import ReadRows, Words

SLIP, RESTART, LINES, BITS = "slip", "restart", "lines", "bits"
PRIOR = 10.0  # bits for anything that is not as foretold
LINE = 3.0  # and for each line that does as it likes
PARTS = (
    (0, 1),
    (0, 1 / 2),
    (1 / 2, 1),
    (0, 1 / 4),
    (1 / 4, 1 / 2),
    (1 / 2, 3 / 4),
    (3 / 4, 1),
    (0, 1 / 8),
    (7 / 8, 1),
    (0, 1 / 32),
    (31 / 32, 1),
)
AGAIN = 6.0  # bits for a restart on the way
NO_RESTART = 2  # steps: what goes on so near to where it was has slipped rather than been restarted
LOOKED_AT = 16  # placements that are compared in full
HALF = 0.5  # of the levels must be compared at a place, if it is to be taken for the right one
AFTER = 20.0  # bits that the part after a restart must save
PART = 2.0  # bits that both parts of a recording must save, if it has slipped
CLOSE = 3.0  # bits within which a restart explains as much as a slip
BESIDE = 8  # steps on both sides of a place that a slip may lead to, whatever else is likely
FOR_EACH = 2  # places for each part of a recording
MOST_CELLS = 1 << 24  # pairs of placements times rows that are compared for a slip
MOST_PLACES = 160
CHUNK = 4096  # rows that are joined at a time
EVERY_PAIR = 1 << 21  # placements times rows up to which all pairs of placements are looked at
PAIRS = 16  # placements of which a pair may consist, whatever lies between them


@dataclass(frozen=True)
class Otherwise:
    """`bits` saved if the recording is so; `offset` is where it lies up to the first thing that is amiss.

    `share` of the levels that are compared there differ. A slip is by `steps`, at one of the `rows` (first and last) of
    the recording; `lines` do as they like. `raw` are the
    bits without the prices of what is amiss.
    """

    kind: str
    bits: float
    offset: int
    wrong: tuple[Ints, Words]
    steps: int = 0
    rows: tuple[int, int] = (0, 0)
    lines: tuple[str, ...] = ()
    share: float = 1.0
    raw: float = NEVER


def some_lines(
    recording: Recording, prediction: ReadRows, before: bool, pinned: int | None = None
) -> Otherwise | None:
    """The recording with lines that do as they like."""
    span = Span.of(recording, prediction, before, pinned)
    if span is None or span.count > MOST_AT_ONCE:
        return None
    every = span.everywhere(recording, 4 * MOST_AT_ONCE)
    if every is None:
        return None
    price = LINE + math.log2(len(recording.names))
    saved, wrong = every.lines
    kept = np.maximum(saved - WRONG * wrong, -price).sum(axis=0) - span.set_up(recording)
    best = np.argsort(-kept, kind="stable")[:LOOKED_AT]
    found = [place(recording, prediction, int(offset)) for offset in span.offsets(best)]
    kept[best] = [
        float(np.maximum(there.saved - WRONG * there.wrong, -price).sum())
        - set_up(recording, there.offset, span.slots)
        for there in found
    ]
    there = found[int(kept[best].argmax())]
    bad = tuple(
        name
        for bit, name in enumerate(recording.names)
        if there.saved[bit] + price < WRONG * there.wrong[bit]
    )
    bits = summed(kept) - math.log2(span.count) - PRIOR
    return _at(LINES, bits, recording, prediction, there, bad) if there.mismatches else None


def some_bits(recording: Recording, prediction: ReadRows, found: Fit) -> Otherwise | None:
    """The recording with single wrong bits."""
    worth = []
    for there in found.places:
        # Each wrong bit is named among those that were compared, and how many there are is stated.
        named = there.mismatches * math.log2(max(int(there.compared.sum()), 2)) + 2 * math.log2(
            there.mismatches + 1
        )
        rows, wrong = differing(recording, prediction, there.offset)
        lost = sum(
            recording.cost[bit, rows[(wrong >> bit & 1) == 1]].sum() for bit in range(len(recording.names))
        )
        worth.append(float(there.saved.sum() - lost) - named)
    there = found.places[int(np.argmax(worth))]
    bits = summed(worth) + math.log2(found.alike) - found.prior - PRIOR
    return _at(BITS, bits, recording, prediction, there) if there.mismatches else None


def _at(
    kind: str,
    bits: float,
    recording: Recording,
    prediction: ReadRows,
    there: Placement,
    lines: tuple[str, ...] = (),
) -> Otherwise:
    compared = max(int(there.compared.sum()), 1)
    known = int(np.bitwise_count(recording.rows.known).sum())
    share = there.mismatches / compared if compared > HALF * known else 1.0
    wrong = differing(recording, prediction, there.offset)
    return Otherwise(kind, bits, there.offset, wrong, lines=lines, share=share)


def in_two(
    recording: Recording, prediction: ReadRows, found: Fit, before: bool, pinned: int | None = None
) -> tuple[Otherwise | None, Otherwise | None]:
    """The recording in two parts: one that slipped, so that the second lies some steps further on or back than it
    should, and one that is as foretold in both, as the design ran before it was restarted. Where a recording is
    `pinned`, its first part lies there, and it was not restarted."""
    span = Span.of(recording, prediction, before)
    if span is None:
        return None, None
    first, stop = recording.bounds
    offsets = _offsets(recording, span, found)
    left = np.array([_running(recording, prediction, int(offset), first, stop) for offset in offsets])
    right = left[:, -1:] - left
    known = np.flatnonzero(prediction.known)
    # Where the prediction does, by second offset.
    begins = (int(known[0]) if len(known) else 0) - offsets - first
    held = right + _held(recording, prediction, offsets, begins)
    shift = np.abs(offsets[:, None] - offsets[None, :]) // span.slots
    early = set_ups(recording, offsets, span.slots)
    joined = _joined(left, right, held, begins)
    far = shift > NO_RESTART
    again = far & (right[:, 0] > AFTER)
    # A slip in which one part explains nothing, or that a restart explains as well, is none.
    slips = np.where(again, joined.slip_on, np.maximum(joined.slip_before, joined.slip_on))
    slips[far & (joined.before + CLOSE > joined.on)] = 2 * NEVER
    np.fill_diagonal(slips, 2 * NEVER)
    slips -= early[:, None] + 2 * np.log2(shift + 1.0)
    if pinned is not None:
        slips[offsets != pinned] = 2 * NEVER
        again[:] = False
    restarts = np.where(again, joined.before, 2 * NEVER) - AGAIN - math.log2(span.count * (stop - first))
    best = {}
    for kind, value in ((SLIP, slips), (RESTART, restarts)):
        top = int(value.argmax())
        best[kind] = float(value.flat[top]), top // len(offsets), top % len(offsets)
    # In a run that repeats itself many pairs of places are alike, as the places are in the sum of `fit`.
    alike = math.log2(found.alike * max(1, sum(p.bits > found.best.bits - 1 for p in found.places)))
    out: list[Otherwise | None] = []
    for kind in (SLIP, RESTART):
        bits, one, other = best[kind]
        if bits <= NEVER / 2:
            out.append(None)
            continue
        both = left[one, 1:-1] + (right if kind == SLIP else held)[other, 1:-1]
        if kind == SLIP:
            both = np.where((left[one, 1:-1] < PART) | (right[other, 1:-1] < PART), NEVER, both)
        bits += alike - found.prior
        raw = float(both.max()) + alike - found.prior
        likeliest = np.flatnonzero(both >= both.max() - 0.5)
        if kind == SLIP:
            bits += max(summed(both) - float(both.max()), 0.0) - math.log2(len(both)) - PRIOR
        rows = (first + 1 + int(likeliest[0]), first + 1 + int(likeliest[-1]))
        at = int(offsets[one if kind == SLIP else other])
        steps = int(offsets[other] - offsets[one]) // span.slots
        out.append(Otherwise(kind, bits, at, differing(recording, prediction, at), steps, rows, raw=raw))
    return out[0], out[1]


@dataclass(frozen=True)
class _BothParts:
    """What two placements save, the first one up to some row and the second from there on, at most: where that row lies
    `before` the prediction's beginning by the second placement, and where it lies further `on`. In a slip each of the
    parts saves something."""

    before: Floats
    on: Floats
    slip_before: Floats
    slip_on: Floats


def _held(recording: Recording, prediction: ReadRows, offsets: Ints, begins: Ints) -> Floats:
    """What it saves beside, from each row on, that restart was held until the prediction begins, by second offset."""
    first, stop = recording.bounds
    saved = np.zeros((len(offsets), stop - first + 1))
    if prediction.hold is None:
        return saved
    for number in np.flatnonzero(begins > 0).tolist():
        rows = first + np.arange(min(int(begins[number]), stop - first))
        slot = (rows + int(offsets[number])) % prediction.slots
        levels, known = (words[slot] for words in prediction.hold)
        read = recording.rows
        known = known & read.known[rows]
        share = np.bitwise_count(known) / np.maximum(np.bitwise_count(read.known[rows]), 1)
        worth = recording.cost[:, rows].sum(axis=0) * share
        worth -= WRONG * np.bitwise_count((levels ^ read.levels[rows]) & known & read.sure[rows])
        saved[number, : len(rows)] = np.cumsum(worth[::-1])[::-1]
    return saved


def _joined(left: Floats, right: Floats, held: Floats, begins: Ints) -> _BothParts:
    """By first and second placement; some rows at a time, so that they stay in the processor's cache."""
    count, rows = left.shape
    found = np.full((4, count, count), 2 * NEVER)
    for start in range(1, rows - 1, CHUNK):
        part = slice(start, min(start + CHUNK, rows - 1))
        over = np.arange(part.start, part.stop) <= begins[:, None]
        second = right[:, part]
        some = np.where(second < PART, 2 * NEVER, second)
        lead = np.where(left[:, part] < PART, 2 * NEVER, left[:, part])
        for number, (first, seconds, where) in enumerate(
            (
                (left[:, part], held[:, part], over),
                (left[:, part], second, ~over),
                (lead, some, over),
                (lead, some, ~over),
            )
        ):
            if where.any():
                them = np.where(where, seconds, 2 * NEVER)
                for one in range(count):
                    np.maximum(found[number, one], (first[one] + them).max(axis=1), out=found[number, one])
    return _BothParts(*found)


def _offsets(recording: Recording, span: Span, found: Fit) -> Ints:
    """Where parts of the recording may lie."""
    first, stop = recording.bounds
    if span.count * (stop - first) <= EVERY_PAIR:
        return span.offsets(_pairs(recording, span))
    likely = [place.offset for place in found.places[:FOR_EACH]]
    for low, high in PARTS:
        a, b = (first + int(part * (stop - first)) for part in (low, high))
        if b - a >= 2:
            likely += candidates(recording, span, telling(recording, a, b), FOR_EACH)[0].tolist()
    beside = (o + k * span.slots for k in range(-BESIDE, BESIDE + 1) for o in likely)
    inside = [o for o in beside if span.low <= o < span.low + span.count * span.slots]
    most = int(np.clip(math.sqrt(MOST_CELLS / (stop - first)), 8, MOST_PLACES))
    return np.array(list(dict.fromkeys([*likely, *inside]))[:most], np.int64)


def _pairs(recording: Recording, span: Span) -> Ints:
    """The numbers of the placements of which two explain most, one up to some row and one from there on: whatever lies
    between them, and few steps apart."""
    before = span.running(recording)
    after = before[:, -1:] - before
    chosen: set[int] = set()
    for ours, theirs in ((before, after), (after, before)):
        worth = (ours + theirs.max(axis=0)).max(axis=1)
        chosen |= set(np.argsort(-worth, kind="stable")[:PAIRS].tolist())
    for apart in range(1, BESIDE + 1):
        for one, other in ((before[apart:], after[:-apart]), (before[:-apart], after[apart:])):
            if len(one):
                worth = (one + other).max(axis=1)
                for number in np.argsort(-worth, kind="stable")[:BESIDE].tolist():
                    chosen |= {number, number + apart}
    return np.array(sorted(chosen), np.int64)


def _running(recording: Recording, prediction: ReadRows, offset: int, first: int, stop: int) -> Floats:
    """What the recording saves before each row at this offset."""
    rows = recording.rows
    at = np.arange(first, stop) + offset
    inside = (at >= 0) & (at < len(prediction.levels))
    known = np.zeros(len(at), rows.known.dtype)
    known[inside] = prediction.known[at[inside]]
    known &= rows.known[first:stop]
    share = np.bitwise_count(known) / np.maximum(np.bitwise_count(rows.known[first:stop]), 1)
    saved = recording.cost[:, first:stop].sum(axis=0) * share
    amiss = Amiss.of(recording, prediction, offset)
    saved[amiss.rows - first] -= WRONG * np.bitwise_count(amiss.wrong) + sum(
        amiss.line(bit) for bit in range(len(recording.names))
    )
    return np.concatenate([[0.0], np.cumsum(saved)])
