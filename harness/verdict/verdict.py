"""Decides whether a capture agrees with a golden: agrees, differs or inconclusive, with the evidence."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np
from forelight.sim.levels import UNKNOWN

from ..boards.profile import Board
from ..capture.record import Capture, RecordedLine
from ..golden.golden import Golden
from .align import MOST
from .chance import SMALL, Chance, chance
from .judge import Comparison
from .lay import Laid, Question, lay
from .prepare import View, views
from .reference import Reference, reference
from .timebase import TimeBase, unit_base

AGREES, DIFFERS, INCONCLUSIVE = "agrees", "differs", "inconclusive"
SOME = 20  # edges that cannot all be noise
SLACK = 0.001  # the board's own oscillator, and rounding
#: For what cannot be told: the reason, and what to record instead.
OPEN = {
    Question.SET_UP: (
        "If the recording began before the slot was up, though, nothing else differs.",
        "Record the restart too, or begin when it has been let go.",
    ),
    Question.NO_SLIP: (
        "By another time base, though, nothing differs: there are so few changes, strewn so widely, that both fit.",
        "Record the step line too, or more lines.",
    ),
}


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
    golden: Golden,
    capture: Capture,
    board: Board,
    *,
    step_line: str | None = None,
    tolerance: float = 0.02,
    start: int = 0,
) -> Verdict:
    """Compare a capture with a golden.

    `step_line` names the line that carries the step clock (the board's, where it is not given), `tolerance` is how
    far the instrument's clock may be off. `start` is the tick at which the slot is up and restart let go: a hand sets
    up at its own pace, so nothing before the last step under restart is compared. Never raises for a readable capture:
    what cannot be told is inconclusive.
    """
    line = step_line or board.step_line
    line = "step" if line == "own" else line
    seconds = capture.end - capture.start if capture.unit == "seconds" else 0.0
    theirs = reference(golden, line, seconds * golden.oscillator_hz * 1.1, capture.lines, start)
    plain = Verdict(INCONCLUSIVE, expected_hz=theirs.hz, lines=tuple(capture.lines), notes=capture.notes)
    best = lay(views(capture, theirs, line))
    if best is None:
        return _unaligned(plain, [*views(capture, theirs, line)][-1])
    plain = replace(plain, chance=best.odds.found)
    if best.odds.found > SMALL:
        return _by_chance(plain, best.odds, best.view.edges.total)
    return _decided(plain, best, board, tolerance)


def _decided(plain: Verdict, laid: Laid, board: Board, tolerance: float) -> Verdict:
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
    if laid.question and not off:
        kind = INCONCLUSIVE
        reason, remedy = OPEN[laid.question]
        reasons.append(reason)
        remedies = (remedy,)
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


def _by_chance(plain: Verdict, odds: Chance, changes: int) -> Verdict:
    """No fit that could not be chance: a difference if a true match would have been seen, otherwise nothing."""
    if odds.perfect <= SMALL:
        return replace(
            plain,
            kind=DIFFERS,
            reasons=("The recording fits nowhere in the prediction, at no rate that was tried.",),
            remedies=("If it was begun after the predicted run had ended, predict a longer run.",),
        )
    remedies = ["Record more steps, more lines, or a run in which the outputs change more often."]
    if all(line.startswith("o") for line in plain.lines):
        remedies.append(
            "Record the step line and the restart too: then it is known where the recording begins."
        )
    many = "1 change" if changes == 1 else f"{changes} changes"
    return replace(
        plain,
        reasons=(f"The recording has {many}, so few or so alike that it would fit somewhere by chance.",),
        remedies=tuple(remedies),
    )


def _unaligned(plain: Verdict, view: View) -> Verdict:
    """Nothing lays the capture on the golden: only lines that never change can be compared."""
    for name, line in view.lines.items():
        theirs = view.golden.lines[name]
        fixed = set(theirs.levels.tolist())
        seen = set(line.levels.tolist()) - {UNKNOWN}
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
    if view.edges.total >= SOME and view.nearest.total:
        middle = unit_base()
        return _by_chance(
            plain,
            replace(
                chance(view.edges.head(view.start, MOST), view.nearest, middle, 1, inputs=view.inputs),
                found=1.0,
            ),
            view.edges.total,
        )
    return replace(
        plain,
        reasons=("There are no changes by which the recording could be laid on the prediction.",),
        remedies=("Record more lines, or a run in which the outputs change.",),
    )


def _longest(line: RecordedLine, level: int, golden: Reference) -> float:
    """The longest stretch of the golden in which the line may be at this level throughout."""
    may = np.r_[False, (line.levels == level) | (line.levels == UNKNOWN), False]
    change = np.flatnonzero(may[1:] != may[:-1])
    times = np.r_[line.times, golden.end]
    return float(
        max((times[b] - times[a] for a, b in zip(change[::2], change[1::2], strict=True)), default=0.0)
    )
