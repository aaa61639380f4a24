"""How the eye takes a lamp or a display: steady, readable, flickering or blended; and what would make it readable.

A lamp is steady if it never changes; blended if it changes too fast to be seen to change, so that only its mean is
seen; readable if each of its levels stays long enough to be read; flickering if not. A display is as its lamps together
are: where each stays long enough, but they change in turn, it flickers. What stands when a record begins or ends is cut
short, so its length says nothing; what is unsettled says nothing either. The numbers are in `limits.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN

from ..boards.divider import LISTED, codes_between
from ..boards.profile import Board
from ..golden.golden import Golden
from .brightness import Levels, Ticks, line_seen, moments, runs
from .limits import CHANGE, FUSION_HZ, READABLE_S
from .words import ranges

STEADY, READABLE, FLICKERING, BLENDED, VAGUE = "steady", "readable", "flickering", "blended", "unsettled"
#: A share of light that lies nearer to 0 or 1 is taken for it.
_FULL = 1e-3


@frozen
class Impression:
    """One lamp, or a display as a whole.

    `kind` is steady, readable, flickering, blended or unsettled (at all times); `level` the mean brightness, 0 to 1;
    `shortest_s` the shortest time for which it is seen to stay as it is, `hz` how often a second it comes on, each None
    where it does not.
    """

    kind: str
    level: float
    shortest_s: float | None = None
    hz: float | None = None


@frozen
class Impressions:
    """The display as a whole, and each of the lines that were looked at, by name.

    `holds_s` is the shortest time between two moments at which any of them changes, whatever the eye makes of it.
    """

    display: Impression
    lines: dict[str, Impression]
    holds_s: float | None


def impressions(golden: Golden, lines: Sequence[int] = range(8), speed: float = 1.0) -> Impressions:
    """The impression that these output lines make when a golden is played at `speed` times its own rate."""
    timed = {}
    for line in lines:
        settled = (golden.settled >> line & 1).astype(bool)
        states = np.where(settled, (golden.outputs >> line & 1).astype(np.float64), UNKNOWN)
        timed[f"o{line}"] = golden.ticks, states
    return of_lines(timed, golden.end, golden.oscillator_hz * speed)


def of_lines(timed: dict[str, tuple[Ticks, Levels]], end: int, hz: float) -> Impressions:
    """The same of timed levels: for each line its rising ticks and its states, 0, 1 or `UNKNOWN`.

    `hz` ticks make a second, and the last state holds until tick `end`.
    """
    lines = {name: of_lamp(ticks, states, end, hz) for name, (ticks, states) in timed.items()}
    gaps = np.diff(_changes(timed.values()))
    holds = float(gaps.min()) / hz if len(gaps) else None
    return Impressions(_together(timed, lines, hz), lines, holds)


def _changes(timed: Iterable[tuple[Ticks, Levels]]) -> Ticks:
    """When any of these changes."""
    return moments((np.zeros(0, np.int64), *(runs(*one)[0][1:] for one in timed)))


def of_lamp(ticks: Ticks, states: Levels, end: int, hz: float) -> Impression:
    """How the eye takes one lamp with these timed levels: 0, 1 or `UNKNOWN`."""
    times, levels = runs(ticks, states)
    lasting = np.diff(np.append(times, end))
    known = levels != UNKNOWN
    if not known.any():
        return Impression(VAGUE, 0.0)
    level = round(float((lasting * levels)[known].sum() / max(int(lasting[known].sum()), 1)), 4)
    if len(set(levels[known].tolist())) == 1:
        return Impression(STEADY, level)
    rises = times[1:][(levels[1:] == 1) & (levels[:-1] == 0)]
    span = int(rises[-1] - rises[0]) if len(rises) > 1 else 0
    rate = (len(rises) - 1) * hz / span if span else None
    seen_times, seen_levels = _visible(*line_seen(ticks, states, end, hz))
    if len(seen_levels) == 1:
        return Impression(BLENDED, level, hz=rate)
    stays = np.diff(seen_times)
    settled = seen_levels != UNKNOWN
    inside = stays[1:][settled[1:-1] & settled[:-2] & settled[2:]]
    shortest = float(inside.min()) / hz if len(inside) else None
    if shortest is not None and shortest < READABLE_S:
        return Impression(FLICKERING, level, shortest, rate)
    full = (seen_levels < _FULL) | (seen_levels > 1 - _FULL)
    return Impression(READABLE if full[settled].any() else BLENDED, level, shortest, rate)


def _visible(times: Ticks, levels: Levels) -> tuple[Ticks, Levels]:
    """Only the changes that count as such: by `CHANGE` of the maximum or more, or from and to what is unsettled."""
    kept = [0]
    for row in range(1, len(levels)):
        if abs(levels[row] - levels[kept[-1]]) >= CHANGE:
            kept.append(row)
    return times[kept], levels[kept]


def _together(timed: dict[str, tuple[Ticks, Levels]], lines: dict[str, Impression], hz: float) -> Impression:
    """The display as a whole, from its lamps."""
    known = [one for one in lines.values() if one.kind != VAGUE]
    level = round(float(np.mean([one.level for one in known])), 4) if known else 0.0
    rate = max((one.hz for one in known if one.hz is not None), default=None)
    shortest = min((one.shortest_s for one in known if one.shortest_s is not None), default=None)
    kinds = {one.kind for one in known}
    if FLICKERING in kinds:
        return Impression(FLICKERING, level, shortest, rate)
    gaps = np.diff(_changes(timed[name] for name, one in lines.items() if one.kind == READABLE)) / hz
    gaps = gaps[gaps >= 1 / FUSION_HZ]  # what changes one after another within that seems to change at once
    if len(gaps):
        shortest = float(gaps.min())
        if shortest < READABLE_S:
            return Impression(FLICKERING, level, shortest, rate)
    for kind in (READABLE, BLENDED, STEADY):
        if kind in kinds:
            return Impression(kind, level, shortest, rate)
    return Impression(VAGUE, 0.0)


def readable_codes(board: Board, hz: float, found: Impressions) -> tuple[range, ...]:
    """The strap codes at which every picture stays long enough to be read, the smallest first.

    For a run that goes by the steps of the step clock alone, which it made at `hz`. Empty where nothing
    changes, and where no code of the board is slow enough.
    """
    if found.holds_s is None:
        return ()
    return codes_between(board, 0.0, hz * found.holds_s / READABLE_S)


def fastest(board: Board, codes: Sequence[range]) -> int | None:
    """Of these strap codes the one with the fastest step clock, the smallest if several have that; None of none."""
    listed = [code for span in codes for code in (span if board.codes <= LISTED else span[:1])]
    return max(listed, key=lambda code: (board.step_hz(code), -code), default=None)


def sentence(found: Impressions) -> str:
    """What the eye makes of a display, and of the lines that are not as the whole is."""
    whole = found.display
    match whole.kind:
        case "steady":
            said = "steady."
        case "readable":
            stays = (
                "" if whole.shortest_s is None else f"; each picture stays {whole.shortest_s:.3g} s or longer"
            )
            said = f"readable{stays}."
        case "flickering":
            said = (
                f"flickering: the shortest picture stays {whole.shortest_s or 0:.3g} s, and to read one takes "
                f"{READABLE_S:g} s."
            )
        case "blended":
            rate = "" if whole.hz is None else f", {whole.hz:.4g} times a second"
            said = (
                f"blended: it goes on and off too fast to be seen{rate}, so only its mean brightness shows."
            )
        case _:
            said = "nothing can be foretold."
    apart = {
        kind: [name for name, one in found.lines.items() if one.kind == kind]
        for kind in (FLICKERING, BLENDED)
        if kind != whole.kind
    }
    more = "; ".join(f"{ranges(names)} {kind}" for kind, names in apart.items() if names)
    return f"To the eye: {said}" + (f" Of its lines: {more}." if more else "")
