"""Decides whether a recording agrees with a prediction: agrees, differs or inconclusive, with the evidence in bits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from forelight.sim.levels import UNKNOWN

from ..boards.profile import Board
from ..capture.record import CHANGES, Capture
from ..golden.golden import Golden
from .clock import Clock
from .fit import NEVER, Fit
from .glance import refused
from .kinds import AGREES, DIFFERS, INCONCLUSIVE
from .of_list import of_list
from .otherwise import RESTART, SLIP, Otherwise, in_two, some_bits, some_lines
from .placement import Recording, compared_at, lowest, place
from .reading import FEW, SLACK, Readout, read
from .record import ASTRAY, LONGER, MARGIN, MORE, RESTING, Difference, Verdict
from .reference import Foretold

__all__ = ["AGREES", "DIFFERS", "INCONCLUSIVE", "Difference", "Laid", "Verdict", "check", "lay"]

CLOSE = 3.0  # bits within which another explanation leaves a verdict open
WHOLE = 0.9  # of what a recording holds, as foretold: nothing else is asked for
RAN = 12.0  # bits that the beginning of a recording saves, if the design ran already
RATES = 30.0  # bits by which the times of edges must be better explained by another rate: there are millions
FAR = 0.02  # of the levels that are compared differ: so many that no closer look mends it
NEARLY = 0.2  # of the levels that are compared may differ if the first is to be named all the same
EXPLAINED = 0.4  # of what a recording holds, by another rate, so that this is what differs
HALF = 0.5  # of a recording must be compared where nothing is to contradict it, and be as foretold in a closer look
SOON = 0.25  # of a recording, in which a restart is looked for that was not recorded itself
AS_STILL = 0.9  # of the time for which nothing moves in a recording must have its place in the prediction
HANDICAP = 30.0  # bits: clocks with more are not asked what else may be amiss


def check(
    golden: Golden,
    capture: Capture,
    board: Board,
    *,
    step_line: str | None = None,
    tolerance: float = 0.02,
    start: int = 0,
    played: bool = False,
    quick: bool = False,
    by_hand: bool = False,
) -> Verdict:
    """Compare a capture with a golden.

    `step_line` names the line that carries the step clock (the board's, where it is not given), `tolerance` is how
    far the instrument's clock may be off. `start` is the tick at which the slot is up and restart let go: a hand sets
    up at its own pace, so nothing before the last step under restart is compared. Where it makes all steps `by_hand`
    and the step line was recorded, its pace tells nothing. Where the golden's inputs from then
    on were `played` from this capture, step by step, it begins there and nowhere else. A `quick` verdict is the same
    where the capture agrees; where it is far from that, nothing is asked of what else it may be. Never raises for a
    readable capture: what cannot be told is inconclusive.
    """
    if quick and (reason := refused(golden, capture, start)):
        return Verdict(
            DIFFERS, evidence=NEVER, lines=tuple(capture.lines), reasons=(reason,), notes=capture.notes
        )
    reading = read(
        golden, capture, board, step_line=step_line, tolerance=tolerance, start=start, played=played
    )
    plain = Verdict(
        INCONCLUSIVE, expected_hz=reading.reference.hz, lines=tuple(capture.lines), notes=capture.notes
    )
    if not capture.timed:
        return of_list(plain, reading)
    if not reading.recordings or not reading.edges:
        return _still(plain, reading, capture)
    if quick and ((glance := lay(reading, thorough=False)).far_off or glance.bits >= MARGIN):
        return _of_laid(plain, glance, capture, board, tolerance, by_hand)
    laid = lay(reading)
    if laid.bits < MARGIN and capture.unit == "seconds" and not laid.explains():
        wide = read(golden, capture, board, step_line=step_line, start=start, wide=True, played=played)
        other = lay(wide, thorough=False) if wide.recordings else laid
        fits = laid.contradicted and other.explains()
        if (fits and other.bits >= max(MARGIN, laid.best_bits + MARGIN)) or (
            other.bits > max(laid.best_bits, 0.0) and _keeps(other) - _keeps(laid) >= RATES
        ):
            laid = other
    return _of_laid(plain, laid, capture, board, tolerance, by_hand)


@dataclass(frozen=True)
class Laid:
    """A timed recording laid on the prediction by all of its clocks: `bits` saved as foretold in all, by the clock
    `recording` most, where it lies as `found`; and what it may be `otherwise`, the likeliest first, a `restart` on the
    way apart."""

    reading: Readout
    bits: float
    recording: Recording
    found: Fit
    otherwise: Sequence[tuple[Recording, Otherwise]] = ()
    restart: Otherwise | None = None

    @property
    def best_bits(self) -> float:
        """Of the likeliest explanation: as foretold, otherwise, or none."""
        return max(self.bits, 0.0, *(other.bits for _, other in self.otherwise))

    @property
    def contradicted(self) -> bool:
        """Whether something is not as foretold wherever most of the recording is compared: else nothing of it is more
        than left open, however little speaks for its lying there."""
        most = HALF * self.recording.known
        return not any(
            not there.mismatches and there.saved.sum() > -MARGIN and there.compared.sum() > most
            for there in self.found.places
        )

    @property
    def all_told(self) -> bool:
        """Whether the recording begins when the slot is up, where it is laid: what was before is nobody's to tell."""
        return self.found.best.offset + self.recording.bounds[0] >= -1

    @property
    def far_off(self) -> bool:
        """Whether no closer look can help: wherever it is laid much differs, or little of it would be as foretold."""
        much = HALF * self.recording.null_bits
        return self.bits < MARGIN and not any(
            there.saved.sum() > much and there.mismatches <= FAR * there.compared.sum()
            for there in self.found.places
        )

    def explains(self) -> bool:
        """Whether something, if not the prediction, explains much of the recording."""
        return self.best_bits > EXPLAINED * self.recording.null_bits


def lay(reading: Readout, thorough: bool = True) -> Laid:
    """The recording laid on the prediction by each of its clocks; `thorough` asks what else it may be."""
    reading = reading.closer() if thorough else reading
    bits, fits = reading.own
    best = int(np.argmax([found.bits for found in fits]))
    others: list[tuple[Recording, Otherwise]] = []
    share = math.log2(len(fits))
    for recording, found in zip(reading.recordings, fits, strict=True):
        # Where it is known where a recording lies, nothing else is asked for as long as nothing differs there.
        whole = reading.pinned is not None or found.bits >= WHOLE * recording.null_bits
        complete = bool(found.places) and not found.best.mismatches and whole
        if not thorough or not found.places or recording.handicap > HANDICAP or complete:
            continue
        slip, restart = in_two(recording, reading.rows, found, reading.before, reading.pinned)
        lines = some_lines(recording, reading.rows, reading.before, reading.pinned)
        for other in (lines, some_bits(recording, reading.rows, found), slip, restart):
            if other:
                spent = recording.handicap + share
                others.append((recording, replace(other, bits=other.bits - spent, raw=other.raw - spent)))
    others.sort(key=lambda pair: -pair[1].bits)
    restarts = [pair for pair in others if pair[1].kind == RESTART]
    laid = Laid(reading, bits, reading.recordings[best], fits[best])
    amiss = max((other.bits for _, other in others if other.kind != RESTART), default=NEVER)
    # What repeats itself goes on alike after an error and after a restart: an error, unless all others are excluded.
    if restarts and restarts[0][1].bits > max(bits, amiss + MARGIN) and _restarted(*restarts[0]):
        recording, restart = restarts[0]
        there = place(recording, reading.rows, restart.offset)
        laid = replace(
            laid, bits=restart.bits, recording=recording, found=replace(fits[best], places=(there,))
        )
    otherwise = tuple(pair for pair in others if pair[1].kind != RESTART)
    return replace(laid, otherwise=otherwise, restart=restarts[0][1] if restarts else None)


def _keeps(laid: Laid) -> float:
    """How many bits it saves to say when edges come by this clock."""
    return -laid.recording.clock.cost if laid.recording.clock else 0.0


def _ran_already(laid: Laid) -> bool:
    """Whether a recording that is laid with its beginning in the set-up is as foretold there too, some steps away: so
    the design may have run, and slipped."""
    if laid.recording.moments.held or laid.all_told:
        return False
    return any(other.kind == SLIP and other.raw > laid.bits + RAN for _, other in laid.otherwise)


def _as_restarted(laid: Laid, slip: Otherwise) -> bool:
    """Whether a restart, which nobody recorded, explains as much as a slip: in a run that repeats itself, it may. Who
    records begins soon before it."""
    if laid.restart is None or laid.recording.moments.held:
        return False
    first, stop = laid.recording.bounds
    if laid.restart.rows[0] - first > SOON * (stop - first):
        return False
    return laid.restart.raw > slip.raw - CLOSE and laid.restart.bits > laid.bits


def _open(laid: Laid, worse: float, proved: float) -> tuple[str, str] | None:
    """Why a recording that is as foretold need not be so, and what to do: something else explains it as well, to
    `worse` bits, or nothing is `proved`."""
    if proved < MARGIN:
        return RESTING, MORE
    if worse >= laid.bits - CLOSE:
        said = "All of it may be as foretold, but a step lost or gained on the way would explain it nearly as well."
        return said, "Record the step line too, or more lines."
    if _ran_already(laid):
        said = (
            "Nothing differs if it was restarted on the way; but up to there it is as foretold too, "
            "so that steps lost or gained there would look the same."
        )
        return said, "Record the restart too, or begin when it has been let go."
    return None


def _doubt(laid: Laid, other: Otherwise) -> tuple[str, str] | None:
    """Why what explains a recording better than the prediction does not show that it differs, and what to do."""
    if other.kind == SLIP and _as_restarted(laid, other):
        said = "A step lost or gained on the way would explain it, and so would a restart on the way."
        return said, "Record the restart too."
    if laid.bits >= MARGIN and laid.all_told and not laid.found.best.mismatches and len(other.wrong[0]):
        said = (
            "Nothing that is certain differs, but a step lost or gained on the way would also explain what the "
            "prediction leaves open."
        )
        return said, "Begin the recording when the slot is up, or record more lines."
    if laid.bits >= MARGIN and not len(other.wrong[0]):
        said = (
            "No bit differs, but a step lost or gained on the way would explain better when the edges come."
        )
        return said, "Record the step line too, or take more samples in a step."
    return None


def _restarted(recording: Recording, restart: Otherwise) -> bool:
    """Whether it is believed that the recording goes on over a restart: as the line tells, or as all else does."""
    return bool(recording.moments.held) or restart.bits > EXPLAINED * recording.null_bits


def _of_laid(
    plain: Verdict, laid: Laid, capture: Capture, board: Board, tolerance: float, by_hand: bool
) -> Verdict:
    reading, recording, found = laid.reading, laid.recording, laid.found
    other = laid.otherwise[0] if laid.otherwise else None
    worse = other[1].bits if other else NEVER
    kind, reasons, remedies, astray = INCONCLUSIVE, [], [], list[str]()
    first: Difference | None = None
    more = 0
    result = replace(plain, evidence=laid.bits)
    if max(worse, 0.0 if laid.contradicted else NEVER) - laid.bits >= MARGIN:
        if other and (doubt := _doubt(laid, other[1])):
            reasons.append(doubt[0])
            remedies.append(doubt[1])
        elif other and (worse > -MARGIN or other[1].share < NEARLY):
            kind = DIFFERS
            recording = other[0]
            first, more = _first(reading, capture, *other)
            if other[1].kind == SLIP and first:
                slip = other[1].steps
                steps = "1 step" if abs(slip) == 1 else f"{abs(slip)} steps"
                astray.append(f"{ASTRAY} {steps} {'later' if slip > 0 else 'earlier'}.")
        else:
            return replace(
                result,
                kind=DIFFERS,
                reasons=("The recording fits nowhere in the prediction, at no rate that was tried.",),
                remedies=(LONGER,),
            )
    elif laid.bits >= MARGIN:
        result = replace(
            result,
            evidence=reading.proved(laid.bits, recording.without_proof(reading.rows, found.best.offset)),
        )
        if doubt := _open(laid, worse, result.evidence):
            reasons.append(doubt[0])
            remedies.append(doubt[1])
        else:
            kind = AGREES
    clock = recording.clock
    off = _off(reading, recording, tolerance) and not (by_hand and clock and clock.given)
    if kind == INCONCLUSIVE and laid.bits < MARGIN and not first and not (off and clock and clock.given):
        return _too_little(result, reading, recording, capture)
    offset = other[1].offset if kind == DIFFERS and other else found.best.offset
    rate = sigma = None
    codes: tuple[int, ...] = ()
    if capture.unit == "seconds" and reading.reference.hz is not None and clock:
        # The clock counts in the recording's own time.
        rate, sigma = clock.rate, clock.rate_sigma
        within = room(clock, tolerance)
        codes = tuple(c for c in range(board.codes) if abs(float(board.step_hz(c)) / rate - 1) <= within)
        if off:
            kind = DIFFERS
            expected = reading.reference.hz
            reasons.insert(0, f"The bench steps at {rate:.6g} Hz where {expected:.6g} Hz was predicted.")
    if first:
        reasons.append(
            f"At step {first.step} line {first.line} is {first.seen} where {first.expected} was predicted."
        )
    rows, bits = compared_at(recording, reading.rows, offset)
    begin = float(clock.steps(np.array([capture.start]))[0]) if clock else 0.0
    shift = reading.rows.first - recording.rows.first + offset // reading.rows.slots
    return replace(
        result,
        kind=kind,
        steps=rows,
        bits=bits,
        first=first,
        more=more,
        rate_hz=rate,
        rate_sigma_hz=sigma,
        codes=codes,
        golden_start_s=reading.reference.seconds(begin + shift),
        reasons=(*reasons, *astray),
        remedies=tuple(remedies),
    )


def room(clock: Clock, tolerance: float) -> float:
    """How far the rate of a clock may be off, if that of the instrument may be off by the tolerance."""
    return tolerance + SLACK + 3 * clock.rate_sigma / clock.rate


def _off(reading: Readout, recording: Recording, tolerance: float) -> bool:
    """Whether the bench steps at another rate than was predicted."""
    clock, expected = recording.clock, reading.reference.hz
    if clock is None or expected is None or not reading.in_seconds:
        return False
    return abs(clock.rate / expected - 1) > room(clock, tolerance)


def _first(
    reading: Readout, capture: Capture, recording: Recording, other: Otherwise
) -> tuple[Difference | None, int]:
    """The first bit that differs, and how many more do."""
    rows, wrong = other.wrong
    if not len(rows):
        return None, 0
    row = int(rows[0])
    bit = lowest(int(wrong[0]))
    there = row + other.offset
    slots = reading.rows.slots
    line = min(bit, len(recording.moments.names) - 1)
    places, halves = recording.moments.places[line], recording.moments.halves[line]
    slot = row % slots
    time = reading.rows.first + there // slots + places[slot]
    clock = recording.clock
    seen_at = (
        float(clock.times(np.array([recording.rows.first + row // slots + places[slot]]))[0])
        if clock
        else 0.0
    )
    step = int(reading.reference.step_at(np.array([time - 0.98 * halves[slot]]))[0])
    seen = int(recording.rows.levels[row] >> bit & 1)
    found = Difference(
        golden_s=reading.reference.seconds(time),
        capture_s=seen_at if capture.unit == "seconds" else None,
        step=step,
        line=recording.names[bit],
        expected=1 - seen,
        seen=seen,
    )
    return found, int(np.bitwise_count(wrong).sum()) - 1


def _too_little(plain: Verdict, reading: Readout, recording: Recording, capture: Capture) -> Verdict:
    remedies = ["Record more steps, more lines, or a run in which the outputs change more often."]
    remedies += _unended(capture)
    if all(line.startswith("o") for line in plain.lines):
        remedies.append(
            "Record the step line and the restart too: then it is known where the recording begins."
        )
    many = "1 change" if reading.edges == 1 else f"{reading.edges} changes"
    return replace(
        plain,
        reasons=(f"The recording has {many}, so few or so alike that it would fit somewhere by chance.",),
        remedies=tuple(remedies),
    )


def _still(plain: Verdict, reading: Readout, capture: Capture) -> Verdict:
    """Nothing lays the capture on the golden: only how long lines keep still can be compared, and at which levels."""
    theirs = reading.reference
    for name, line in reading.lines.items():
        fixed = set(theirs.lines[name].levels.tolist())
        seen = set(line.levels.tolist()) - {UNKNOWN}
        if fixed in ({0}, {1}) and seen - fixed:
            reason = f"Line {name} is predicted to stay {min(fixed)} and was seen at {min(seen - fixed)}."
            return replace(plain, kind=DIFFERS, reasons=(reason,))
    # A step line that moves says nothing of those that do not.
    lines = {n: line for n, line in reading.lines.items() if n != reading.step_line or len(line.times) < FEW}
    begin = max((float(line.times[-1]) for line in lines.values()), default=capture.start)
    moved = begin > capture.start
    levels = {name: int(line.levels[-1]) for name, line in lines.items() if line.levels[-1] != UNKNOWN}
    rest = longest_rest(theirs, levels)
    whole = (capture.end - capture.start) * reading.scale
    length = (capture.end - max(begin, capture.start)) * reading.scale
    # How long samples last is not known; what is short may lie in the set-up, and what is long behind the prediction.
    timed = reading.in_seconds and not (
        moved and not HALF * whole <= length <= whole <= theirs.end - theirs.since
    )
    if levels and timed and length * AS_STILL > rest:
        alone = next(
            (name for name in levels if length * AS_STILL > longest_rest(theirs, {name: levels[name]})), None
        )
        who = f"line {alone} never keeps" if alone else "these lines never keep"
        together = "" if alone else " together"
        after = " after its last change" if moved else ""
        long = f"{theirs.seconds(length):.3g} s"
        reason = f"Nothing moves in the recording{after} for {long}; as foretold, {who} still for so long{together}."
        return replace(plain, kind=DIFFERS, reasons=(reason,))
    reason, remedy = _undecided(theirs, moved, rest)
    return replace(plain, reasons=(reason,), remedies=(remedy, *_unended(capture)))


def _unended(capture: Capture) -> list[str]:
    """What to do where changes alone were recorded, up to the last of them."""
    if capture.holds != CHANGES or capture.end > capture.last_change:
        return []
    return ["It ends with its last change: let a last row say until when the lines were watched."]


def _undecided(theirs: Foretold, moved: bool, rest: float) -> tuple[str, str]:
    """Why a recording in which hardly anything moves tells nothing, and what to do; it may `rest` for so many steps."""
    if moved:
        return "Too little changes in the recording, or in the prediction, to lay one on the other.", MORE
    if rest >= theirs.end - theirs.since:
        return "Nothing moves in the recording, and nothing need move in the prediction.", MORE
    long = f"{theirs.seconds(rest):.3g} s"
    return (
        f"Nothing moves in the recording, and in the prediction these lines may keep still for {long}.",
        "Record for longer than that: if nothing moves then either, `forelight check` says what would do that, "
        "as a step clock that is off or a restart that is held.",
    )


def longest_rest(golden: Foretold, levels: Mapping[str, int]) -> float:
    """The longest stretch of the golden, in steps, in which these lines may be at these levels throughout."""
    times = np.sort(np.concatenate([np.zeros(1), *(golden.lines[name].times for name in levels)]))
    may = np.ones(len(times), bool)
    for name, level in levels.items():
        seen = golden.lines[name].at(times)
        may &= (seen == level) | (seen == UNKNOWN)
    change = np.flatnonzero(np.diff(may, prepend=False, append=False))
    bounds = np.append(times, golden.end)
    return float(np.diff(bounds[change])[::2].max(initial=0.0))
