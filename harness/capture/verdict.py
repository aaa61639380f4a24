"""Decides whether a capture agrees with a golden: agrees, differs or inconclusive, with the evidence."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field

import numpy as np

from ..bench.golden import Golden
from ..boards.profile import Board
from .align import Nearest, Search, search
from .chance import SMALL, Chance, chance
from .clean import cleaned
from .judge import Comparison, compare
from .record import GAP, Capture, Line
from .reference import edges_of, reference
from .timebase import TimeBase, step_length, track

AGREES, DIFFERS, INCONCLUSIVE = "agrees", "differs", "inconclusive"
NEAR = 0.06  # rates that are searched at first, on both sides of the predicted one
FAR = 64.0  # and at last
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
    `chance` is the probability that the golden fits as well at a random shift and rate. `reasons` says why, and
    `remedies` what to record instead, a sentence each.
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
    notes: tuple[str, ...] = field(default=())

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
    return _Check(golden, capture, board, "step" if line == "own" else line, tolerance).run()


class _Check:
    """The state of one check, filled in step by step."""

    def __init__(
        self, golden: Golden, capture: Capture, board: Board, step_line: str, tolerance: float
    ) -> None:
        self.board, self.capture, self.tolerance = board, capture, tolerance
        length = capture.end - capture.start
        plain = reference(golden, step_line)
        step = plain.unit / golden.oscillator_hz if capture.unit == "seconds" else 1.0
        self.golden = (
            reference(golden, step_line, plain.unit * (length / step * 1.1 + 16))
            if capture.unit != "samples"
            else plain
        )
        clock = capture.lines.get(step_line) if capture.timed else None
        recorded = step_length(clock) if clock else None
        if capture.unit == "samples":
            step = recorded or _shortest(capture)
        self.step = step  # of the golden, in the units of the capture
        self.known = step / recorded if recorded else (1.0 if not capture.timed else None)
        actual = recorded or step
        raw = cleaned(capture, actual) if capture.timed else dict(capture.lines)
        # Capture times from here on count nominal steps from the capture's start.
        self.lines = {
            name: Line((line.times - capture.start) / step, line.levels)
            for name, line in raw.items()
            if name in self.golden.lines
        }
        self.end = length / step
        self.names = tuple(self.lines)
        # The step line's edges tell the rate and the phase, but nothing about where in the golden one is.
        telling = tuple(name for name in self.names if name != step_line)
        self.edges, self.all_edges = edges_of(self.lines, telling), edges_of(self.lines, self.names)
        self.nearest = Nearest(edges_of(self.golden.lines, telling), self.golden.end)
        self.all_nearest = Nearest(edges_of(self.golden.lines, self.names), self.golden.end)

    def run(self) -> Verdict:
        found = self._search()
        if found.score <= 0:
            return self._without_alignment()
        base = track(self.all_edges, self.all_nearest, found.offset, found.rate, found.seed)
        odds = chance(self.edges, self.nearest, base, found.tried)
        if odds.found > SMALL:
            return self._by_chance(odds)
        result = compare(self.lines, self.golden, base, 0.0, self.end)
        base, result = self._earlier(base, result)
        return self._decide(base, result, odds)

    def _search(self) -> Search:
        """The recorded step line first, then rates near the predicted one, then any rate."""
        near = (1 - NEAR, 1 + NEAR)
        best = Search()
        if self.known is not None:
            best = search(self.edges, self.nearest, (self.known * 0.99, self.known * 1.01), self.known)
        enough = 0.6 * len(self.edges.time)
        if self.capture.timed and (self.known is None or best.score < enough or abs(self.known - 1) > NEAR):
            other = search(self.edges, self.nearest, near)
            tried = best.tried + other.tried
            best = Search(*_values(other if other.score > 1.2 * best.score else best), tried)
            if best.score < enough:
                other = search(self.edges, self.nearest, (1 / FAR, FAR))
                tried += other.tried
                best = Search(*_values(other if other.score > 1.2 * best.score else best), tried)
        return best

    def _earlier(self, base: TimeBase, result: Comparison) -> tuple[TimeBase, Comparison]:
        """Prefer the alignment that holds from the capture's start, if a step was lost or gained on the way.

        After a slip of the design the rest of the capture fits at another offset, and may be the longer part; what went
        wrong, went wrong at the slip.
        """
        best = (base, result)
        if not len(result.differences.time):
            return best
        for shift in (-1, 1, -2, 2):
            moved = TimeBase(base.capture, base.golden + shift, *_quality(base))
            other = compare(self.lines, self.golden, moved, 0.0, self.end)
            first = _first_time(other, moved)
            if first > _first_time(best[1], best[0]) + 0.5:
                matched = self.edges.between(0, first)
                near = np.abs(self.nearest.distance(matched.kind, moved.to_golden(matched.time))) < 0.5
                if near.sum() >= 2:
                    best = (moved, other)
        return best

    def _decide(self, base: TimeBase, result: Comparison, odds: Chance) -> Verdict:
        differences = result.differences
        reasons: list[str] = []
        rate = sigma = None
        codes: tuple[int, ...] = ()
        off_rate = False
        if self.capture.unit == "seconds" and self.golden.hz is not None:
            rate, sigma = self.golden.hz * base.rate, self.golden.hz * base.rate_sigma
            room = self.tolerance + SLACK + 3 * base.rate_sigma
            off_rate = abs(base.rate - 1) > room
            codes = tuple(
                code
                for code in range(self.board.codes)
                if abs(float(self.board.step_hz(code)) / rate - 1) <= room
            )
            if off_rate:
                reasons.append(
                    f"The bench steps at {rate:.6g} Hz where {self.golden.hz:.6g} Hz was predicted."
                )
        first = self._difference(base, result, 0) if len(differences.time) else None
        if first:
            reasons.append(
                f"At step {first.step} line {first.line} is {first.seen} where {first.expected} was predicted."
            )
        kind = DIFFERS if first or off_rate else AGREES
        if kind == AGREES and not result.bits:
            kind = INCONCLUSIVE
            reasons.append("No bit could be compared.")
        return Verdict(
            kind=kind,
            steps=result.steps,
            bits=result.bits,
            doubtful=result.doubtful,
            first=first,
            more=max(len(differences.time) - 1, 0),
            rate_hz=rate,
            rate_sigma_hz=sigma,
            expected_hz=self.golden.hz,
            codes=codes,
            chance=odds.found,
            lines=self.names,
            golden_start_s=self.golden.seconds(float(base.to_golden(np.zeros(1))[0])),
            reasons=tuple(reasons),
            notes=self.capture.notes,
        )

    def _difference(self, base: TimeBase, result: Comparison, index: int) -> Difference:
        d = result.differences
        moment = d.time[index : index + 1]
        when = float(base.to_capture(moment)[0]) * self.step + self.capture.start
        return Difference(
            golden_s=self.golden.seconds(float(moment[0])),
            capture_s=when if self.capture.unit == "seconds" else None,
            step=int(d.step[index]),
            line=d.names[int(d.line[index])],
            expected=int(d.expected[index]),
            seen=int(d.seen[index]),
        )

    def _by_chance(self, odds: Chance) -> Verdict:
        """No fit that could not be chance: a difference if a true match would have been seen, otherwise nothing."""
        if odds.perfect <= SMALL:
            return self._bare(
                DIFFERS,
                "The recording fits nowhere in the prediction, at no rate that was tried.",
                "If it was begun after the predicted run had ended, predict a longer run.",
                odds.found,
            )
        return self._bare(
            INCONCLUSIVE,
            "The recording has too few changes: it would fit somewhere by chance.",
            "Record more steps, more lines, or a run in which the outputs change more often.",
            odds.found,
        )

    def _without_alignment(self) -> Verdict:
        """Nothing changes on one side or the other: only lines that never change can be compared."""
        for name, line in self.lines.items():
            theirs = self.golden.lines[name]
            fixed = set(theirs.levels.tolist())
            seen = set(line.levels.tolist()) - {GAP}
            if fixed in ({0}, {1}) and seen - fixed:
                return self._bare(
                    DIFFERS,
                    f"Line {name} is predicted to stay {min(fixed)} and was seen at {min(seen - fixed)}.",
                    "",
                    0.0,
                )
            if len(seen) == 1 and len(line.levels) == 1 and self._longest(theirs, min(seen)) < 0.9 * self.end:
                return self._bare(
                    DIFFERS,
                    f"Line {name} never changes in the recording, and never keeps still so long in the prediction.",
                    "",
                    0.0,
                )
        return self._bare(
            INCONCLUSIVE,
            "There are no changes by which the recording could be laid on the prediction.",
            "Record more lines, or a run in which the outputs change.",
            1.0,
        )

    def _longest(self, line: Line, level: int) -> float:
        """The longest stretch of the golden in which the line may be at this level throughout."""
        may = np.r_[False, (line.levels == level) | (line.levels == GAP), False]
        change = np.flatnonzero(may[1:] != may[:-1])
        times = np.r_[line.times, self.golden.end]
        return float(
            max((times[b] - times[a] for a, b in zip(change[::2], change[1::2], strict=True)), default=0.0)
        )

    def _bare(self, kind: str, reason: str, remedy: str, odds: float) -> Verdict:
        return Verdict(
            kind=kind,
            expected_hz=self.golden.hz,
            chance=odds,
            lines=self.names,
            reasons=(reason,),
            remedies=(remedy,) if remedy else (),
            notes=self.capture.notes,
        )


def _values(found: Search) -> tuple[float, float, float, float]:
    return found.offset, found.rate, found.seed, found.score


def _quality(base: TimeBase) -> tuple[float, float, float, float, float, int]:
    return base.spread, base.reach, base.phase, base.rate, base.rate_sigma, base.matched


def _first_time(result: Comparison, base: TimeBase) -> float:
    """Capture time of the first difference."""
    if not len(result.differences.time):
        return np.inf
    return float(base.to_capture(result.differences.time[:1])[0])


def _shortest(capture: Capture) -> float:
    """A guess at the length of a step where nothing says it: the shortest run of any line."""
    runs = [np.diff(line.times) for line in capture.lines.values() if len(line.times) > 2]
    return float(min((run.min() for run in runs), default=1.0))
