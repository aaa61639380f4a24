"""Brightness to the eye: light that changes faster than the eye follows is seen at its time average.

Light that comes and goes faster than it fuses is seen at the time average of its luminance (Talbot and Plateau), and a
single flash that is shorter than the time over which the eye adds up looks as one of that length with the same light
(Bloch); `limits.py` has the numbers and their sources. Screen levels follow the transfer function of sRGB
(IEC 61966-2-1).
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from ..golden.golden import Golden
from .limits import FUSION_HZ, SUMMED_IN_A_BRIGHT_ROOM_S

Ticks = NDArray[np.int64]
Levels = NDArray[np.float64]
Marks = NDArray[np.bool_]

#: Changes that repeat after more than so many runs of light and dark are averaged window by window.
_LONGEST_PATTERN = 4096


@frozen
class Seen:
    """What the eight outputs look like, a row for each visible change.

    `times` (int64, n) are oscillator ticks; `levels` (float64, n x 8, column 0 is `o0`) are shares of full
    luminance, 0 to 1; `unsettled` (bool, n x 8) says where nothing can be foretold (the level is 0 there).
    The last row holds until `end`.
    """

    times: Ticks
    levels: Levels
    unsettled: Marks
    end: int


def seen(golden: Golden, speed: float = 1.0, fuses_hz: float = FUSION_HZ) -> Seen:
    """What the eye sees of a golden that is played at `speed` times its own rate.

    Light and dark that take turns `fuses_hz` times a second or faster are averaged.
    """
    lines = []
    for bit in range(8):
        settled = (golden.settled >> bit & 1).astype(bool)
        states = np.where(settled, (golden.outputs >> bit & 1).astype(np.float64), UNKNOWN)
        lines.append(line_seen(golden.ticks, states, golden.end, golden.oscillator_hz * speed, fuses_hz))
    times = moments(line[0] for line in lines)
    columns = [line[1][np.searchsorted(line[0], times, side="right") - 1] for line in lines]
    states = np.stack(columns, axis=1)
    fresh = np.ones(len(times), dtype=bool)
    fresh[1:] = np.any(states[1:] != states[:-1], axis=1)
    times, states = times[fresh], states[fresh]
    vague = states == UNKNOWN
    return Seen(times, np.where(vague, 0.0, states), vague, golden.end)


def moments(times: Iterable[Ticks]) -> Ticks:
    """All that are among these times, each once, in their order."""
    # Without counts NumPy loads its masked arrays, which takes a tenth of a first answer.
    return np.unique(np.concatenate([*times]), return_counts=True)[0]


def line_seen(
    ticks: Ticks, states: Levels, end: int, hz: float, fuses_hz: float = FUSION_HZ
) -> tuple[Ticks, Levels]:
    """What the eye sees of one line, as change-only times and states: 0 to 1, or `UNKNOWN`; `hz` ticks a second."""
    fusion, window = hz / fuses_hz, hz * max(SUMMED_IN_A_BRIGHT_ROOM_S, 1 / fuses_hz)
    starts, states = runs(ticks, states)
    starts, states = runs(starts, _close_gaps(starts, states, end, fusion))
    bounds = np.append(starts, end)
    lasting = np.diff(bounds)
    settled = states != UNKNOWN
    cycle = settled[:-1] & settled[1:] & (lasting[:-1] + lasting[1:] <= fusion)
    if len(cycle):  # what the record cuts short makes no short cycle by itself
        inner = cycle[1:-1]
        cycle[0] &= bool(inner[:1].any())
        cycle[-1] &= bool(inner[-1:].any())
    fused = np.zeros(len(states), dtype=bool)
    fused[:-1] |= cycle
    fused[1:] |= cycle
    times, levels = [], []
    light = np.concatenate([[0.0], np.cumsum(lasting * (states == 1.0))])
    shown = starts.copy()
    for first, stop in _stretches(fused):
        cuts = _cycles(bounds, settled, first, stop)
        if stop < len(states):
            shown[stop] = max(shown[stop], cuts[-1])
        near = slice(first, stop + 2)
        window_times, window_levels = _averages(cuts, np.interp(cuts, bounds[near], light[near]), window)
        window_times[0] = bounds[first]
        times.append(window_times)
        levels.append(window_levels)
    all_times = np.concatenate([shown[~fused], *times])
    all_levels = np.concatenate([states[~fused], *levels])
    order = np.argsort(all_times, kind="stable")
    all_times, all_levels = all_times[order], all_levels[order]
    keep = np.append(all_times[1:] != all_times[:-1], all_times[-1] < end)
    return _lengthened(*runs(all_times[keep], all_levels[keep]), end, hz * SUMMED_IN_A_BRIGHT_ROOM_S)


def _lengthened(starts: Ticks, states: Levels, end: int, summed: float) -> tuple[Ticks, Levels]:
    """A short flash of light or dark as one of `summed` ticks with the same light, where there is room for it."""
    lasting = np.diff(np.append(starts, end))
    inside = np.arange(1, len(states) - 1)
    short = inside[
        (lasting[1:-1] < summed)
        & (lasting[2:] >= summed)
        & (states[:-2] == states[2:])
        & (states[1:-1] + states[2:] == 1)
        & (states[1:-1] * states[2:] == 0)
    ]
    starts, states = starts.copy(), states.copy()
    whole = int(summed)
    share = lasting[short] / max(whole, 1)
    lit = states[short] == 1
    states[short] = np.round(np.where(lit, share, 1 - share), 4)
    starts[short + 1] = starts[short] + whole
    return starts, states


def _cycles(bounds: Ticks, settled: Marks, first: int, stop: int) -> Ticks:
    """The starts of the whole cycles in runs `first` to `stop - 1`, and the end of the last one.

    What the beginning or the end of the record has cut short is no whole run. Where the last cycle lacks its second
    half, the run that follows gives it.
    """
    whole = slice(first + (first == 0), stop - (stop == len(settled)))
    cuts = bounds[whole.start : whole.stop + 1 : 2]
    if (whole.stop - whole.start) % 2 and stop < len(settled):
        tail = bounds[stop - 1] - bounds[stop - 2] if settled[stop] else 0
        cuts = np.append(cuts, min(bounds[stop] + tail, bounds[stop + 1]))
    return cuts if len(cuts) > 1 else bounds[[first, stop]]


def runs(times: Ticks, states: Levels) -> tuple[Ticks, Levels]:
    """Keep the rows where the state changes."""
    fresh = np.ones(len(times), dtype=bool)
    fresh[1:] = states[1:] != states[:-1]
    return times[fresh], states[fresh]


def _close_gaps(starts: Ticks, states: Levels, end: int, fusion: float) -> Levels:
    """A line that is unsettled again and again, faster than the eye follows, is unsettled all the while."""
    unsettled = states == UNKNOWN
    if not unsettled.any():
        return states
    stops = np.append(starts[1:], end)
    far = np.iinfo(np.int64).max // 4
    before = np.maximum.accumulate(np.where(unsettled, stops, -far))
    after = np.minimum.accumulate(np.where(unsettled, starts, far)[::-1])[::-1]
    return np.where(after - before <= fusion, UNKNOWN, states)


def _stretches(fused: Marks) -> list[tuple[int, int]]:
    """First and one-past-last index of each group of neighbouring fused runs."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], fused, [False]]).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _averages(cuts: Ticks, lit: Levels, window: float) -> tuple[Ticks, Levels]:
    """Mean level between groups of `cuts` (cycle starts), each a window long or a little more.

    `lit` counts the ticks of light before each of them.
    """
    if _repeats(np.diff(cuts), np.diff(lit), window):  # the same over and over: one mean for all
        return cuts[:1], np.round((lit[-1:] - lit[:1]) / (cuts[-1] - cuts[0]), 4)
    groups = [0]
    while groups[-1] < len(cuts) - 1:
        groups.append(int(np.searchsorted(cuts, cuts[groups[-1]] + window)))
    if groups[-1] >= len(cuts):  # the rest is shorter than a window: it joins the group before it
        groups.pop()
        groups = [*(groups[:-1] or [0]), len(cuts) - 1]
    index = np.array(groups)
    spans = np.diff(cuts[index])
    return cuts[index[:-1]], np.round(np.diff(lit[index]) / spans, 4)


def _repeats(cycles: Ticks, lit: Levels, window: float) -> bool:
    """Whether the lengths of the cycles and their light repeat themselves to the end, within a window."""
    within = int(np.searchsorted(np.cumsum(cycles), window, side="right"))
    return any(
        all(np.array_equal(of[period:], of[:-period]) for of in (cycles, lit))
        for period in range(1, min(len(cycles) // 2, within, _LONGEST_PATTERN) + 1)
        if cycles[period] == cycles[0] and lit[period] == lit[0]
    )


def srgb_from_luminance(luminance: float) -> int:
    """The 8-bit screen level that has this share (0 to 1) of full luminance (IEC 61966-2-1, 5.3)."""
    share = min(max(luminance, 0.0), 1.0)
    encoded = 12.92 * share if share <= 0.0031308 else 1.055 * share ** (1 / 2.4) - 0.055
    return round(encoded * 255)
