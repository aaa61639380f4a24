"""Clips in any order: which output each channel shows is found from the levels, line by line, not searched."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import scipy  # loads its parts where they are used
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.sim.plain_text import listed
from numpy.typing import NDArray

from ..everywhere import fast_length, split
from ..placement import Recording
from ..rows import ReadRows
from .mishap import CLIPPED, PAIR, Clip, Mishap
from .wiring import clips, output_inverted, output_stuck, outputs_swapped

Counts = NDArray[np.float64]

#: ReadRows of the recording by which the order is found.
ROWS = 512
#: Places in the prediction at which it is looked for in full.
PLACES = 6
#: What a level costs that is not as foretold, beside what a channel costs that is not on its own output, in bits.
WRONG, MOVED, UPSIDE_DOWN, FIXED = 12.0, 3.0, 5.0, 9.0
#: Levels that may be otherwise of a recording that costs nothing without a prediction.
FEW = 4
NEVER = 1e6


def found(
    recording: Recording, prediction: ReadRows, outputs: tuple[str, ...], fewest: int = 2
) -> Iterator[Mishap]:
    """The orders of clips, some channels stuck or upside down, by which the recording is as foretold.

    The prediction's bit n is that of `outputs[n]`, and its rows are read where the recording's are. As many channels as
    `fewest` says, or more, are not as they should be.
    """
    channels = [bit for bit, name in enumerate(recording.names) if name in OUTPUT_LINES]
    wrong, compared = _mismatches(recording, prediction, channels, len(outputs))
    if not wrong.size:
        return
    fixed = [_fixed(recording, bit) for bit in channels]
    own = [outputs.index(recording.names[bit]) for bit in channels]
    cost = _costs(wrong, compared, own)
    least = np.minimum(cost.min(axis=(1, 2)), NEVER)
    for row, level in enumerate(fixed):
        if level is not None:
            least[row] = np.minimum(least[row], FIXED)
    # Whichever output each channel shows, so many of its levels are otherwise.
    amiss = np.minimum(wrong, compared - wrong).min(axis=1)[[level is None for level in fixed]].sum(axis=0)
    first = recording.bounds[0]
    most = FEW + float(recording.cost[channels][:, first : first + ROWS].sum()) / WRONG
    seen: set[tuple[Clip, ...]] = set()
    for at in np.argsort(least.sum(axis=0))[:PLACES].tolist():
        if amiss[at] > most:
            continue
        chosen = _assigned(
            cost[:, :, :, at], fixed, [int(outputs[source][1]) for source in range(len(outputs))]
        )
        changes = {int(recording.names[channels[row]][1]): clip for row, clip in chosen.items()}
        whole = tuple(changes.get(n, clip) for n, clip in enumerate(CLIPPED))
        moved = {n: clip for n, clip in changes.items() if clip != CLIPPED[n]}
        if whole not in seen and len(moved) >= fewest:
            seen.add(whole)
            yield _cause(moved)


def _cause(moved: dict[int, Clip]) -> Mishap:
    if (usual := _usual(moved)) is not None:
        return usual
    words = [_words(n, clip) for n, clip in sorted(moved.items())]
    plain = all(clip.level is None and not clip.inverted for clip in moved.values())
    kind = "clip in another order" if plain else PAIR
    said = listed(words)
    return Mishap(
        kind,
        said,
        f"The channels are not on the outputs that they are named for: {said}.",
        "Clip each channel to the output of its name, or say with --map which is which.",
        clips(moved),
        0.25,
    )


def _usual(moved: dict[int, Clip]) -> Mishap | None:
    """The cause by its own name, where it has one."""
    match [*moved.items()]:
        case [(channel, Clip(level=int(level)))]:
            return output_stuck(channel, level)
        case [(channel, Clip(inverted=True, line=line))] if line == channel:
            return output_inverted(channel)
        case [(channel, Clip(level=None, inverted=False, other=None, line=line))]:
            return outputs_swapped(*sorted((channel, line)))  # with one that was not recorded
        case [(a, Clip(level=None, inverted=False) as one), (b, Clip(level=None, inverted=False) as other)]:
            return outputs_swapped(a, b) if (one.line, other.line) == (b, a) else None
    return None


def _words(channel: int, clip: Clip) -> str:
    if clip.level is not None:
        return f"o{channel} stays at {clip.level}"
    return f"o{channel} shows o{clip.line}" + (" upside down" if clip.inverted else "")


def _fixed(recording: Recording, bit: int) -> int | None:
    """The level at which a channel stays, or None."""
    known = recording.rows.known >> np.uint16(bit) & 1
    high = recording.rows.levels >> np.uint16(bit) & known
    return int(high.any()) if not high.any() or (high == known).all() else None


def _mismatches(
    recording: Recording, prediction: ReadRows, channels: list[int], sources: int
) -> tuple[Counts, Counts]:
    """How many levels of each channel differ from each output at each place, and how many are compared."""
    first, stop = recording.bounds
    rows = slice(first, min(stop, first + ROWS))
    count = rows.stop - rows.start
    lags = len(prediction.levels) - count + 1
    if lags < 1:
        return np.zeros((0, 0, 0)), np.zeros((0, 0, 0))
    size = fast_length(len(prediction.levels) + count)
    there, back = scipy.fft.rfft, scipy.fft.irfft

    told, ours = split(recording.rows.levels[rows], recording.rows.known[rows], channels)
    settled, theirs = split(prediction.levels, prediction.known, range(sources))
    first_, second = (
        back(np.conj(there(a, size))[:, None] * there(b, size)[None], size)[:, :, :lags]
        for a, b in ((ours, theirs), (told, settled))
    )
    compared = np.rint(second)
    return np.rint((second - first_) / 2), compared


def _costs(wrong: Counts, compared: Counts, own: list[int]) -> Counts:
    """By channel, output, and whether upside down, at each place."""
    cost = np.stack([WRONG * wrong + MOVED, WRONG * (compared - wrong) + MOVED + UPSIDE_DOWN], axis=2)
    cost += math.log2(wrong.shape[1])
    for row, source in enumerate(own):
        cost[row, source] -= MOVED + math.log2(wrong.shape[1])
    for row in range(len(own)):  # what is never compared explains nothing
        cost[row] += np.where(compared[row][:, None] < 0.5 * compared.max(), NEVER, 0.0)
    return cost


def _assigned(cost: Counts, fixed: list[int | None], lines: list[int]) -> dict[int, Clip]:
    """The cheapest source for each channel, each output at most once."""
    rows, sources = cost.shape[:2]
    table = np.concatenate([cost.min(axis=2), np.full((rows, rows), NEVER * 2)], axis=1)
    for row, level in enumerate(fixed):
        table[row, sources + row] = FIXED if level is not None else NEVER * 2
    chosen: dict[int, Clip] = {}
    for row, source in zip(*scipy.optimize.linear_sum_assignment(table), strict=True):
        if source >= sources:
            chosen[int(row)] = Clip(0, level=fixed[int(row)] or 0)
        else:
            chosen[int(row)] = Clip(lines[int(source)], inverted=bool(cost[row, source].argmin()))
    return chosen
