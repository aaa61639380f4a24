"""What a recording may be that is not as foretold: steps lost or gained, lines that do as they like, wrong bits.

Each is a code of the same recording as `fit` is, summed over places in the same way, with a prior for how common it
is; so all are compared by their lengths. None of them says why: a cause that predicts something else is fitted itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..capture.record import Floats, Ints
from .fit import NEVER, PROBES, SET_UP, WRONG, Fit, Placement, Recording, Span, candidates, differing, summed
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
)
NO_RESTART = 2  # steps: what goes on so near to where it was has slipped rather than been restarted
BESIDE = 8  # steps on both sides of a place that a slip may lead to, whatever else is likely
MOST_CELLS = 1 << 24  # placements times rows that are compared for a slip
MOST_PLACES = 160


@dataclass(frozen=True)
class Otherwise:
    """`bits` saved if the recording is so; `offset` is where it lies up to the first thing that is amiss.

    A slip is by `steps`, at one of the `rows` (first and last) of the recording; `lines` do as they like.
    """

    kind: str
    bits: float
    offset: int
    wrong: tuple[Ints, Words]
    steps: int = 0
    rows: tuple[int, int] = (0, 0)
    lines: tuple[str, ...] = ()


def lines_or_bits(recording: Recording, prediction: ReadRows, found: Fit) -> list[Otherwise]:
    """The recording with lines that do as they like, and with single wrong bits, at the best place for each."""
    count = len(recording.names)
    worth: list[tuple[float, Placement, str]] = []
    for there in found.places:
        kept = np.maximum(there.saved - WRONG * there.wrong, -LINE - math.log2(count))
        worth.append((float(kept.sum()), there, LINES))
        wrong = there.mismatches
        # Each wrong bit is named among those that were compared, and how many there are is stated.
        named = wrong * math.log2(max(int(there.compared.sum()), 2)) + 2 * math.log2(wrong + 1)
        right = float(there.saved.sum()) - _lost(recording, prediction, there)
        worth.append((right - named, there, BITS))
    out = []
    for kind in (LINES, BITS):
        best = max((w for w in worth if w[2] == kind), key=lambda w: w[0])
        bits = summed([w[0] for w in worth if w[2] == kind]) + math.log2(found.alike) - found.prior - PRIOR
        there = best[1]
        bad = tuple(
            name for bit, name in enumerate(recording.names) if there.saved[bit] < WRONG * there.wrong[bit]
        )
        if there.mismatches:
            wrong_ = differing(recording, prediction, there.offset)
            out.append(Otherwise(kind, bits, there.offset, wrong_, lines=bad if kind == LINES else ()))
    return out


def _lost(recording: Recording, prediction: ReadRows, there: Placement) -> float:
    """What the levels that are wrong at this place cost without a prediction."""
    rows, wrong = differing(recording, prediction, there.offset)
    return float(sum(recording.cost[bit, rows] @ (wrong >> bit & 1) for bit in range(len(recording.names))))


def in_two(
    recording: Recording, prediction: ReadRows, found: Fit, before: bool
) -> tuple[Otherwise | None, Otherwise | None]:
    """The recording in two parts: one that slipped, so that the second lies some steps further on or back than it
    should, and one that is as foretold in both, as the design ran before it was restarted."""
    span = Span.of(recording, prediction, before)
    if span is None:
        return None, None
    first, stop = recording.bounds
    offsets = _offsets(recording, span, found)
    left = np.array([_running(recording, prediction, int(offset), first, stop) for offset in offsets])
    right = left[:, -1:] - left
    known = np.flatnonzero(prediction.known)
    begins = (
        (int(known[0]) if len(known) else 0) - offsets - first
    )  # where the prediction does, by second offset
    shift = np.abs(offsets[:, None] - offsets[None, :]) // span.slots
    early = np.where(recording.bounds[0] + offsets < -1, SET_UP, 0.0)
    row = np.arange(1, stop - first)
    best: dict[str, tuple[float, int, int]] = {}
    for one in range(len(offsets)):
        joined = left[one, 1:-1] + right[:, 1:-1]
        restarts = (row <= begins[:, None]) & (shift[one] > NO_RESTART)[:, None]
        for kind, allowed, price in (
            (SLIP, ~restarts, early[one] + np.where(shift[one] == 0, -NEVER, 2 * np.log2(shift[one] + 1.0))),
            (RESTART, restarts, SET_UP + math.log2(span.count)),
        ):
            value = np.where(allowed, joined, 2 * NEVER).max(axis=1) - price
            other = int(value.argmax())
            if kind not in best or value[other] > best[kind][0]:
                best[kind] = (float(value[other]), one, other)
    # In a run that repeats itself many pairs of places are alike, as the places are in the sum of `fit`.
    alike = math.log2(found.alike * max(1, sum(p.bits > found.best.bits - 1 for p in found.places)))
    out: list[Otherwise | None] = []
    for kind in (SLIP, RESTART):
        bits, one, other = best[kind]
        if bits <= NEVER / 2:
            out.append(None)
            continue
        joined = left[one, 1:-1] + right[other, 1:-1]
        bits += alike - found.prior
        top = np.flatnonzero(joined >= joined.max() - 0.5)
        if kind == SLIP:
            bits += summed_array(joined) - float(joined.max()) - math.log2(len(joined)) - PRIOR
        rows = (first + 1 + int(top[0]), first + 1 + int(top[-1]))
        at = int(offsets[one if kind == SLIP else other])
        steps = int(offsets[other] - offsets[one]) // span.slots
        out.append(Otherwise(kind, bits, at, differing(recording, prediction, at), steps, rows))
    return out[0], out[1]


def _offsets(recording: Recording, span: Span, found: Fit) -> Ints:
    """Where parts of the recording may lie, and near that."""
    first, stop = recording.bounds
    likely = {place.offset for place in found.places}
    for low, high in PARTS:
        a, b = (first + int(part * (stop - first)) for part in (low, high))
        if b - a >= 2:
            few, many = (recording.probes(a, b, count) for count in PROBES)
            likely |= set(candidates(recording, span, few, many)[0].tolist())
    beside = {o + k * span.slots for o in likely for k in range(-BESIDE, BESIDE + 1)}
    inside = sorted(o for o in beside if span.low <= o < span.low + span.count * span.slots)
    most = int(np.clip(MOST_CELLS // (stop - first), 8, MOST_PLACES))
    return np.array(inside if len(inside) <= most else sorted(likely)[:most], np.int64)


def summed_array(bits: Floats) -> float:
    """The logarithm of the sum of powers of two."""
    most = float(bits.max())
    return most + math.log2(float(np.exp2(np.maximum(bits - most, -60.0)).sum()))


def _running(recording: Recording, prediction: ReadRows, offset: int, first: int, stop: int) -> Floats:
    """What the recording saves before each row at this offset."""
    rows = recording.rows
    at = np.arange(first, stop) + offset
    inside = (at >= 0) & (at < len(prediction.levels))
    there = at[inside]
    known = np.zeros(len(at), rows.known.dtype)
    known[inside] = prediction.known[there]
    known &= rows.known[first:stop]
    wrong = np.zeros(len(at), rows.known.dtype)
    wrong[inside] = rows.levels[first:stop][inside] ^ prediction.levels[there]
    wrong &= known
    all_known = np.bitwise_count(rows.known[first:stop])
    share = (np.bitwise_count(known).astype(np.float64) - np.bitwise_count(wrong)) / np.maximum(all_known, 1)
    saved = recording.cost[:, first:stop].sum(axis=0) * share - WRONG * np.bitwise_count(wrong)
    return np.concatenate([[0.0], np.cumsum(saved)])
