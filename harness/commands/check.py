"""`forelight check`: does the bench agree?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES
from rich.text import Text

from ..asking.facts import warnings
from ..asking.question import Asked, Question
from ..asking.settled import from_the_source
from ..bench.course import seated
from ..boards.divider import setting_word
from ..boards.reader import load_board
from ..capture.readers import PIPED, parse_capture
from ..capture.record import Capture
from ..coverage.measure import Faults, UntriedError
from ..coverage.record import Coverage
from ..coverage.words import FAULTS, drawn, share
from ..golden.golden import Golden
from ..survey.keeping import Entry
from ..terminal.output import emit_json, show
from ..verdict.record import ASTRAY
from ..verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict
from ..view.warned import warned
from ..view.words import either, hertz, ranges
from . import noting
from .judging import reasons
from .judging.judge import judged

EXIT_CODES = {AGREES: 0, DIFFERS: 1, INCONCLUSIVE: 3}
MILLION = 19.93  # bits


def run(
    asked: Asked, path: Path, as_json: bool, entry: Entry | None = None, experiment: Path | None = None
) -> int:
    """Print the verdict and what explains it, and write the verdict into a notebook if `entry` says so.

    `experiment` is the file for the procedure that tells two causes apart. Returns the verdict's exit code.
    """
    board = load_board(asked.board)
    if entry:
        entry.ready(experiment)
    recorded = noting.recording(path)
    place = str(path) if recorded.name else PIPED
    capture = parse_capture(recorded.data, place, asked.mapping, board.pins, board.display)
    try:
        asking, golden, verdict = judged(asked, capture)
    except noting.OF_THE_DESIGN as error:
        if entry:
            noting.note_untold(entry, asked, error, recorded)
        raise
    start = asking.start() / golden.oscillator_hz
    proves = proved(asking, golden, capture, verdict)
    found = answer(asking, golden, verdict, str(path)) | {"proves": proves.to_json() if proves else None}
    why = reasons.explained(asking, capture, experiment) if verdict.kind == DIFFERS else None
    found["explanation"] = why.to_json() if why else None
    if not as_json:
        odd = [*warned(golden), *from_the_source(golden)]
        more = (*([""] if verdict.notes else []), *proof(proves)) if proves else ()
        # What a recording that fits nowhere, or elsewhere, might be instead is said where no cause explains it.
        causes = why is not None and why.ranking.convincing
        plain = replace(verdict, remedies=(), reasons=_found(verdict)) if causes else verdict
        show(
            *paragraphs(asking, capture.source, plain, start),
            *more,
            *_anywhere(golden),
            *begun(golden, capture, verdict),
            *odd,
            *(why or ()),
        )
    if entry:
        told = noting.told_by_check(found, golden, capture, verdict, asking.start())
        found["survey"] = noting.note(entry, asked, asking, golden, told, recorded)
        if not as_json:
            show("", noting.said(entry))
    if as_json:
        emit_json(found)
    return EXIT_CODES[verdict.kind]


def answer(asking: Question, golden: Golden, verdict: Verdict, capture: str) -> dict[str, object]:
    """For scripts; `capture` is the name of the recording."""
    return {
        "capture": capture,
        "name": asking.sheet.name,
        "board": asking.board.name,
        "slot": asking.slot,
        "start_s": asking.start() / golden.oscillator_hz,
        "start_step": int(-golden.steps[0]),
        "warnings": list(warnings(asking)),
        **verdict.to_json(),
    }


def grounds(asking: Question, golden: Golden, capture: Capture, verdict: Verdict) -> dict[str, object]:
    """What a recording that agrees proves, and what explains one that differs, for scripts."""
    proves = proved(asking, golden, capture, verdict)
    why = reasons.explained(asking, capture, None) if verdict.kind == DIFFERS else None
    return {"proves": proves.to_json() if proves else None, "explanation": why.to_json() if why else None}


def _found(verdict: Verdict) -> tuple[str, ...]:
    """What differs, without the slip of steps that would look the same."""
    return tuple(reason for reason in verdict.reasons if not reason.startswith(ASTRAY))


def _anywhere(golden: Golden) -> Iterator[str]:
    """What was allowed for where a design wakes up anywhere."""
    if golden.facts["start"] == "anywhere":
        yield f"It wakes up anywhere: all beginnings in its period of {golden.facts['period_steps']} steps were tried."


def begun(golden: Golden, capture: Capture, verdict: Verdict) -> Iterator[str]:
    """That a list agrees, but from another step on than it says."""
    if verdict.kind != AGREES or capture.unit != "steps" or verdict.golden_start_s is None:
        return
    tick = round(verdict.golden_start_s * golden.oscillator_hz)
    if golden.facts["start"] == "anywhere" or tick >= golden.end:
        return
    there = int(golden.steps[max(int(np.searchsorted(golden.ticks, tick, side="right")) - 1, 0)])
    if there != int(capture.start):
        yield (
            f"Its first entry, step {int(capture.start)}, is what is foretold for step {there}: that is right if the "
            "list was begun later than it says; else the slot was not restarted."
        )


def paragraphs(asking: Question, source: str, verdict: Verdict, start: float) -> Iterator[Text | str]:
    """The verdict first, then what it rests on, then what to do."""
    where = (
        f", slot {asking.slot} of {asking.board.name}"
        if asking.slot is not None
        else f" on {asking.board.name}"
    )
    words = {AGREES: "Agrees", DIFFERS: "Differs", INCONCLUSIVE: "Inconclusive"}
    yield Text(words[verdict.kind], style="bold").append(
        f": {source} and what is foretold for {asking.sheet.title}{where}.", style="not bold"
    )
    yield from verdict.reasons
    yield from evidence(verdict, start, setting_word(asking.board))
    if verdict.remedies:
        yield ""
        yield from verdict.remedies
        yield from _busier(asking, verdict)
    if verdict.notes:
        yield ""
        yield "How the capture was read:"
        yield from (f"  {note}" for note in verdict.notes)


def _busier(asking: Question, verdict: Verdict) -> Iterator[str]:
    """The datasheet's own runs, for a recording that told too little of the usual one."""
    runs = [f'--run "{run.name}"' for run in asking.sheet.runs]
    if verdict.kind == INCONCLUSIVE and not verdict.bits and asking.procedure.name == "default" and runs:
        yield f"The author wrote down what to do and see: carry that out and check with {either(runs)}."


def evidence(verdict: Verdict, start: float, setting: str) -> Iterator[str]:
    """How much was compared, and at which rate; `start` is when the slot is up, in seconds of the prediction.

    `setting` is what the board's number for a step rate is called.
    """
    if verdict.first:
        first = verdict.first
        when = "" if first.capture_s is None else f" ({first.capture_s:.6g} s in the capture)"
        many = f"{verdict.more} more bits differ" if verdict.more > 1 else "1 more bit differs"
        more = f"; {many}" if verdict.more else "; no other bit differs"
        yield f"That is {max(first.golden_s - start, 0.0):.3f} s after the slot was up{when}{more}."
    if verdict.bits:
        yield (f"Compared: {verdict.bits} bits in {verdict.steps} steps, on {ranges(verdict.lines)}.")
        if verdict.kind == AGREES:
            yield f"The odds that it does not fit by accident are {odds(verdict.evidence)}."
    if verdict.rate_hz is not None and verdict.expected_hz is not None:
        off = verdict.rate_sigma_hz or 0.0
        # What is nearer than a part in a million tells of the file, not of a bench.
        sigma = f" give or take {off:.2g} Hz" if off > 1e-6 * verdict.rate_hz else ""
        codes = (
            f"; strap code {either([str(code) for code in verdict.codes])} gives that"
            if verdict.codes
            else "; no strap code gives that"
        )
        yield (
            f"Step rate: {hertz(verdict.rate_hz)}{sigma} by the capture, {hertz(verdict.expected_hz)} foretold{codes}."
        )


def odds(bits: float) -> str:
    """So many bits of evidence in words."""
    return (
        "more than a million to one" if bits > MILLION else f"about {float(f'{2.0**bits:.1g}'):,.0f} to one"
    )


def proved(asking: Question, golden: Golden, capture: Capture, verdict: Verdict) -> Coverage | None:
    """What a recording that agrees would have revealed, on its lines and over its steps; None where nothing is said."""
    outputs = [line for line in capture.lines if line in OUTPUT_LINES]
    if verdict.kind != AGREES or verdict.golden_start_s is None or not outputs:
        return None
    try:
        faults = Faults.few(seated(asking.board, asking.sheet), asking.seed)
        start = max(round(verdict.golden_start_s * golden.oscillator_hz), asking.start())
        end = _end_of(golden, capture, verdict, start)
        return asking.coverage(golden, faults=faults, start=start, end=end, outputs=outputs)
    except UntriedError:
        return None


def _end_of(golden: Golden, capture: Capture, verdict: Verdict, start: int) -> int:
    """The tick of the prediction at which a recording ends that begins at tick `start` of it."""
    if capture.unit == "seconds":
        faster = verdict.rate_hz / verdict.expected_hz if verdict.rate_hz and verdict.expected_hz else 1.0
        return start + round((capture.end - capture.start) * faster * golden.oscillator_hz)
    row = max(int(np.searchsorted(golden.ticks, start, side="right")) - 1, 0)
    after = np.flatnonzero(golden.steps >= golden.steps[row] + verdict.steps)
    return int(golden.ticks[after[0]]) - 1 if len(after) else golden.end


def proof(found: Coverage) -> Iterator[str]:
    """What such a recording has proved, in sentences."""
    yield f"It would have shown {share(found)} of {FAULTS}."
    if more := drawn(found):
        yield more
