"""Decides whether a capture agrees with a golden: agrees, differs or inconclusive, with the evidence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace

import numpy as np

from ..bench.golden import Golden
from ..boards.profile import Board
from .align import GATE, Search, search
from .chance import SMALL, Chance, chance
from .judge import Comparison, compare
from .prepare import View, views
from .record import GAP, Capture, Line
from .reference import Edges, Reference, reference
from .timebase import TimeBase, settle, track

AGREES, DIFFERS, INCONCLUSIVE = "agrees", "differs", "inconclusive"
NEAR = 0.06  # rates that are searched at first, on both sides of the predicted one
FAR = 64.0  # and at last
SOME = 20  # edges that cannot all be noise
SLACK = 0.001  # the board's own oscillator, and rounding


@dataclass(frozen=True)
class Difference:
    """A bit that differs: seconds from the procedure's start, seconds in the capture (None without times), step,
    line, levels."""

    golden_s: float
    capture_s: float | None
    step: int
    line: str
    expected: int
    seen: int


@dataclass(frozen=True)
class Verdict:
    """`kind` is agrees, differs or inconclusive.

    `steps` and `bits` were compared; `doubtful` bits differ but lie too near an edge to tell. `first` is the first
    difference and `more` how many bits differ beside it. `rate_hz` is the step rate by the capture's clock, with its
    standard deviation; `expected_hz` the predicted one; `codes` the strap codes whose rate fits within the tolerance.
    `chance` is the probability that the golden fits as well at a random shift and rate. `golden_start_s` is the
    second of the procedure at which the capture begins. `reasons` says why, and `remedies` what to record instead, a
    sentence each.
    """

    kind: str
    steps: int = 0
    bits: int = 0
    doubtful: int = 0
    first: Difference | None = None
    more: int = 0
    rate_hz: float | None = None
    rate_sigma_hz: float | None = None
    expected_hz: float | None = None
    codes: tuple[int, ...] = ()
    chance: float = 1.0
    lines: tuple[str, ...] = ()
    golden_start_s: float | None = None
    reasons: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """The same as a dictionary of plain values."""
        return asdict(self)


def check(
    golden: Golden, capture: Capture, board: Board, *, step_line: str | None = None, tolerance: float = 0.02
) -> Verdict:
    """Compare a capture with a golden.

    `step_line` names the line that carries the step clock (the board's, where it is not given), `tolerance` is how
    far the instrument's clock may be off. Never raises for a readable capture: what cannot be told is inconclusive.
    """
    line = step_line or board.step_line
    line = "step" if line == "own" else line
    seconds = capture.end - capture.start if capture.unit == "seconds" else 0.0
    theirs = reference(golden, line, seconds * golden.oscillator_hz * 1.1)
    plain = Verdict(INCONCLUSIVE, expected_hz=theirs.hz, lines=tuple(capture.lines), notes=capture.notes)
    best: _Laid | None = None
    tried = 0
    for view, rates in _places(views(capture, theirs, line)):
        found = search(view.edges, view.nearest, rates)
        tried += found.tried
        laid = _lay(view, found, tried)
        if laid and (best is None or laid.odds.found < best.odds.found):
            best = laid
        if best and best.odds.found <= SMALL:
            break
    if best is None:
        return _unaligned(plain, view)
    plain = replace(plain, chance=best.odds.found)
    if best.odds.found > SMALL:
        return _by_chance(plain, best.odds)
    return _decided(plain, _earlier(best), board, tolerance)


@dataclass(frozen=True)
class _Laid:
    """A capture laid on the golden."""

    view: View
    base: TimeBase
    result: Comparison
    odds: Chance

    @property
    def first(self) -> float:
        """When the first difference was recorded."""
        found = self.result.differences.time
        return float(self.base.to_capture(found[:1])[0]) if len(found) else np.inf


def _places(by_line_and_rate: list[View]) -> Iterator[tuple[View, tuple[float, float]]]:
    """Where to search: on the step line's axis, then near the predicted rate, then at any rate."""
    for view in by_line_and_rate:
        if view.clock or not view.capture.timed:
            yield view, (1.0, 1.0)
        else:
            yield view, (1 - NEAR, 1 + NEAR)
            yield view, (1 / FAR, FAR)


def _lay(view: View, found: Search, tried: int) -> _Laid | None:
    """The capture laid at the fit by which most bits agree."""
    best: tuple[TimeBase, Comparison] | None = None
    for offset, rate in zip(found.fits.offset.tolist(), found.fits.rate.tolist(), strict=True):
        base = _base(view, view.edges, offset, rate)
        result = _compared(view, base)
        if best is None or result.agreeing > best[1].agreeing:
            best = base, result
        if not len(best[1].differences.time):
            break
    return best and _Laid(view, *best, chance(view.edges, view.nearest, best[0], tried))


def _base(view: View, edges: Edges, offset: float, rate: float) -> TimeBase:
    return settle(edges, view.nearest, offset) if view.clock else track(edges, view.nearest, offset, rate)


def _earlier(laid: _Laid) -> _Laid:
    """Prefer the alignment that holds from the capture's start, if a step was lost or gained on the way.

    After such a slip the rest of the capture fits at another offset, and may be the longer part; but what went
    wrong, went wrong at the slip.
    """
    best, view = laid, laid.view
    if len(laid.result.differences.time) < 2:
        return best
    for shift in (-1, 1, -2, 2):
        moved = replace(laid.base, golden=laid.base.golden + shift)
        other = replace(laid, base=moved, result=_compared(view, moved))
        before = view.edges.between(view.start, other.first)
        distance = view.nearest.distance(before.kind, other.base.to_golden(before.time))
        if other.first > best.first + 0.5 and (np.abs(distance) < GATE).sum() >= 2:
            best = other
    return best


def _compared(view: View, base: TimeBase) -> Comparison:
    return compare(view.lines, view.golden, base, (view.start, view.end), view.blur)


def _decided(plain: Verdict, laid: _Laid, board: Board, tolerance: float) -> Verdict:
    view, base, result = laid.view, laid.base, laid.result
    differences = result.differences
    reasons: list[str] = []
    rate = sigma = None
    codes: tuple[int, ...] = ()
    off = False
    if view.capture.unit == "seconds" and view.golden.hz is not None:
        rate, sigma = view.rate(base)
        expected = view.golden.hz
        room = tolerance + SLACK + 3 * sigma / rate
        off = abs(rate / expected - 1) > room
        codes = tuple(c for c in range(board.codes) if abs(float(board.step_hz(c)) / rate - 1) <= room)
        if off:
            reasons.append(f"The bench steps at {rate:.6g} Hz where {expected:.6g} Hz was predicted.")
    first = _difference(view, base, result) if len(differences.time) else None
    if first:
        reasons.append(
            f"At step {first.step} line {first.line} is {first.seen} where {first.expected} was predicted."
        )
    kind = DIFFERS if first or off else AGREES
    remedies: tuple[str, ...] = ()
    if kind == AGREES and result.doubtful:
        kind = INCONCLUSIVE
        reasons.append(f"{result.doubtful} bits differ, but so near an edge that the time base cannot tell.")
        remedies = ("Record more samples a step, or the step line too.",)
    return replace(
        plain,
        kind=kind,
        steps=result.steps,
        bits=result.bits,
        doubtful=result.doubtful,
        first=first,
        more=max(len(differences.time) - 1, 0),
        rate_hz=rate,
        rate_sigma_hz=sigma,
        codes=codes,
        golden_start_s=view.golden.seconds(float(base.to_golden(np.array([view.start]))[0])),
        reasons=tuple(reasons),
        remedies=remedies,
    )


def _difference(view: View, base: TimeBase, result: Comparison) -> Difference:
    """The first one."""
    found = result.differences
    recorded = float(view.recorded(base.to_capture(found.time[:1]))[0])
    return Difference(
        golden_s=view.golden.seconds(float(found.time[0])),
        capture_s=recorded if view.capture.unit == "seconds" else None,
        step=int(found.step[0]),
        line=found.names[int(found.line[0])],
        expected=int(found.expected[0]),
        seen=int(found.seen[0]),
    )


def _by_chance(plain: Verdict, odds: Chance) -> Verdict:
    """No fit that could not be chance: a difference if a true match would have been seen, otherwise nothing."""
    if odds.perfect <= SMALL:
        return replace(
            plain,
            kind=DIFFERS,
            reasons=("The recording fits nowhere in the prediction, at no rate that was tried.",),
            remedies=("If it was begun after the predicted run had ended, predict a longer run.",),
        )
    return replace(
        plain,
        reasons=("The recording has too few changes: it would fit somewhere by chance.",),
        remedies=("Record more steps, more lines, or a run in which the outputs change more often.",),
    )


def _unaligned(plain: Verdict, view: View) -> Verdict:
    """Nothing lays the capture on the golden: only lines that never change can be compared."""
    for name, line in view.lines.items():
        theirs = view.golden.lines[name]
        fixed = set(theirs.levels.tolist())
        seen = set(line.levels.tolist()) - {GAP}
        if fixed in ({0}, {1}) and seen - fixed:
            reason = f"Line {name} is predicted to stay {min(fixed)} and was seen at {min(seen - fixed)}."
            return replace(plain, kind=DIFFERS, reasons=(reason,))
        if (
            len(line.levels) == 1
            and seen
            and _longest(theirs, min(seen), view.golden) < 0.9 * (view.end - view.start)
        ):
            reason = f"Line {name} never changes in the recording, and never keeps still so long in the prediction."
            return replace(plain, kind=DIFFERS, reasons=(reason,))
    if len(view.edges.time) >= SOME and len(view.nearest.edges.time):
        middle = TimeBase(np.array([0.0, 1.0]), np.array([0.0, 1.0]), 0.3, 0.5, 0.5, 1.0, 0.0, 0)
        return _by_chance(plain, replace(chance(view.edges, view.nearest, middle, 1), found=1.0))
    return replace(
        plain,
        reasons=("There are no changes by which the recording could be laid on the prediction.",),
        remedies=("Record more lines, or a run in which the outputs change.",),
    )


def _longest(line: Line, level: int, golden: Reference) -> float:
    """The longest stretch of the golden in which the line may be at this level throughout."""
    may = np.r_[False, (line.levels == level) | (line.levels == GAP), False]
    change = np.flatnonzero(may[1:] != may[:-1])
    times = np.r_[line.times, golden.end]
    return float(
        max((times[b] - times[a] for a, b in zip(change[::2], change[1::2], strict=True)), default=0.0)
    )
