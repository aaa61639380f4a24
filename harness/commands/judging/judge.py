"""A recording held against what was asked: the prediction long enough for it, and the verdict."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

import numpy as np
from forelight.designs.catalogue import Found
from forelight.designs.procedures.procedure import Seconds, Steps

from ...asking.question import USUAL_SECONDS, Asked, Question, question
from ...bench.course import Seat, seated
from ...boards.profile import Board
from ...boards.roster import find
from ...capture.play import in_doubt
from ...capture.readers import read_capture
from ...capture.record import Capture
from ...golden.golden import Golden
from ...hand.hand import Hand
from ...hand.routine import divides, made_by_hand
from ...hand.timeline import timeline
from ...verdict.causes.lightly import lightly
from ...verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check

#: The prediction is this much longer than the capture, so that one which was begun late still lies in it.
LONGER = 1.5
#: Steps within which the period of a design without a restart is looked for.
LONG_STEPS = 1 << 17
#: Steps that are foretold at least for a capture without times.
USUAL_READINGS = 100
#: Who records a run goes on for a while when it is over, by no more than the run lasted or so many seconds: then so
#: many times the length of the recording is foretold, so that one which was begun late lies in it too.
AFTER_SECONDS, BEGUN_LATE = 10.0, 1.25
#: Predictions that are made for inputs of which it is not known whether they moved before a rise or behind it.
MOST_SIDES = 20

#: Power-ups that agree on what a glimpse takes to be settled.
GLIMPSED = 24

Judged = tuple[Question, Golden, Verdict]


def judged(asked: Asked, capture: Capture, board: Board | None = None, found: Found | None = None) -> Judged:
    """What was asked, its golden, whose steps count from the moment at which the slot is up, and the verdict.

    The `board`, and what was `found` in its slot, may be at hand.
    """
    longer = asked.seconds is None
    asked = _long_enough(asked, capture)
    if asked.play is not None:
        return _as_played(asked, capture)
    asking = _run_on(question(asked, board, found=found), capture)
    golden = asking.golden()
    if longer and _may_repeat(asking, golden):
        asking = question(replace(asked, seconds=None, steps=LONG_STEPS), board, found=found)
        golden = asking.golden()
    return asking, *held_against(asking, golden, capture)


def glimpsed(asked: Asked, board: Board, found: Found, capture: Capture, seats: dict[int, Seat]) -> Verdict:
    """The verdict by a prediction without proof on what was `found` in a slot: what it says to differ does, and what it
    says to agree may be less settled than that. `seats` are those of the board that were made already."""
    asking = _run_on(question(_long_enough(asked, capture), board, found=found), capture)
    slot = asking.slot or 0
    plan = timeline(board, asking.sheet, asking.procedure, slot=slot)
    for number in {slot, *plan.slots.tolist()} - set(seats):
        if number == slot or number in board.slots:
            sheet = asking.sheet if number == slot else find(board, str(number)).datasheet
            seats[number] = seated(board, sheet)
    golden = lightly(plan, seats, GLIMPSED, None, None)
    if asked.seconds is None and _may_repeat(asking, golden):
        return judged(asked, capture, board, found)[2]
    return held_against(asking, golden, capture, quick=True)[1]


def held_against(
    asking: Question, golden: Golden, capture: Capture, *, quick: bool = False
) -> tuple[Golden, Verdict]:
    """The golden of a question with its steps counted from the moment at which the slot is up, as in `forelight show`,
    and the verdict on a capture, which may be a `quick` one."""
    step = asking.sheet.step
    start = asking.start()
    row = int(np.searchsorted(golden.ticks, start, side="right")) - 1
    golden = replace(golden, steps=golden.steps - int(golden.steps[row]))
    line = step.line if step else None
    by_hand = made_by_hand(asking.procedure.actions)
    return golden, check(
        golden,
        capture,
        asking.board,
        step_line=line,
        start=start,
        played=asking.itself,
        quick=quick,
        by_hand=by_hand,
    )


def _as_played(asked: Asked, capture: Capture) -> Judged:
    """The same where inputs are played from a recording: one that moved beside a rise of the step clock is taken to
    have moved before it and behind it, and what the recording fits better counts."""
    assert asked.play is not None
    asking = question(asked)
    recording = read_capture(asked.play, asked.mapping, asking.board.pins)
    step = asking.sheet.step.line if asking.sheet.step and divides(asking.board, asking.sheet) else None
    itself = step is not None and _alike(recording, capture, step)

    def tried(sides: frozenset[int]) -> Judged:
        asking = replace(question(replace(asked, other_side=sides)), itself=itself)
        return asking, *held_against(asking, asking.golden(), capture)

    best = frozenset[int]()
    found = tried(best)
    behind = in_doubt(recording, step) if step else np.zeros(0)
    seen = {best}
    # All of them behind their rises, all before, and then one after the other on its other side.
    early, late = np.flatnonzero(behind < 0).tolist(), np.flatnonzero(behind >= 0).tolist()
    for number in range(-2, len(behind)):
        if found[2].kind == AGREES or len(seen) == MOST_SIDES:
            break
        sides = best ^ {number} if number >= 0 else frozenset(late if number == -1 else early)
        if sides not in seen:
            seen.add(sides)
            other = tried(sides)
            if other[2].kind == AGREES or other[2].evidence > found[2].evidence:
                best, found = sides, other
    asking, golden, verdict = found
    if len(behind):
        many = "an input" if len(behind) == 1 else f"{len(behind)} inputs"
        note = (
            f"{many} moved so near to a rise of the step clock that it may have come before it or behind it"
        )
        verdict = replace(verdict, notes=(*verdict.notes, note))
    if verdict.kind == DIFFERS and len(seen) == MOST_SIDES:
        verdict = replace(
            verdict,
            kind=INCONCLUSIVE,
            first=None,
            reasons=(
                "Inputs moved beside rises of the step clock: not all that this may have led to was tried.",
            ),
            remedies=("Move the inputs in the middle of a step, or take more samples in a step.",),
        )
    return asking, golden, verdict


def _long_enough(asked: Asked, capture: Capture) -> Asked:
    """With nothing said about the run, one that is longer than the capture."""
    if any(said is not None for said in (asked.seconds, asked.run_name, asked.procedure, asked.play)):
        return asked
    if capture.unit == "seconds":
        return replace(asked, seconds=max(USUAL_SECONDS, LONGER * (capture.end - capture.start)))
    if capture.unit == "steps":
        return replace(asked, steps=max(USUAL_READINGS, ceil(LONGER * (capture.end - capture.start))))
    return asked


def _run_on(asking: Question, capture: Capture) -> Question:
    """The same for a recording that goes on when a run is over: nothing is moved any more, and the step clock runs."""
    hand = Hand(asking.board, asking.sheet, asking.slot or 0)
    hand.do(asking.procedure.actions)
    lasts = (hand.now - asking.start()) / asking.board.oscillator_hz
    unit, after = 1.0, AFTER_SECONDS
    if capture.unit == "steps" and divides(asking.board, asking.sheet) and hand.step_clock.enable:
        unit, after = 2 * hand.step_clock.half / float(asking.board.frame_hz), 0.0
    elif capture.unit != "seconds":
        return asking
    long = (capture.end - capture.start) * unit
    if not lasts < BEGUN_LATE * long <= BEGUN_LATE * (lasts + max(lasts, after)):
        return asking
    missing = (BEGUN_LATE * long - lasts) / unit
    more = Steps(ceil(missing)) if capture.unit == "steps" else Seconds(round(missing, 3))
    return replace(asking, procedure=replace(asking.procedure, actions=(*asking.procedure.actions, more)))


def _may_repeat(asking: Question, golden: Golden) -> bool:
    """Whether a longer run might find the period of a design that wakes up anywhere."""
    unsettled = golden.facts["start"] == "fixed" and golden.settled[-1] != 0xFF
    return unsettled and asking.procedure.name == "default" and divides(asking.board, asking.sheet)


def _alike(one: Capture, other: Capture, line: str) -> bool:
    """Whether two recordings hold the same of this line: then they are one recording."""
    first, second = one.lines.get(line), other.lines.get(line)
    return first is not None and second is not None and np.array_equal(first.times, second.times)
