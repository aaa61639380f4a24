"""An answer about a slot as a try in a survey's notebook."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from forelight.designs.procedures.procedure import Set, to_text
from forelight.sim.errors import (
    ForelightError,
    NetlistError,
    RtlilError,
    SourceError,
    UnsupportedError,
)
from forelight.sim.frozen import frozen

from ..asking.question import Asked, Question
from ..bench.predict import board_hash
from ..boards.reader import load_board
from ..boards.roster import find
from ..capture.readers import PIPE, recorded_bytes
from ..capture.record import Capture
from ..golden.golden import Golden
from ..limits import LimitError
from ..survey.attempt import UNTOLD, Attempt, Details
from ..survey.keeping import Entry, RecordedFile, program, write
from ..verdict.kinds import INCONCLUSIVE

if TYPE_CHECKING:
    from ..verdict.verdict import Verdict

#: What a design itself may be at fault for: nothing can be foretold of it then, whatever is recorded.
OF_THE_DESIGN = (SourceError, RtlilError, NetlistError, UnsupportedError, LimitError)


@frozen
class Reply:
    """What a command answered: its name, the answer for scripts, and its verdict, if any, with the evidence in bits."""

    command: str
    answer: Mapping[str, object]
    verdict: str | None = None
    evidence: float | None = None


def recording(path: Path) -> RecordedFile:
    """The recorded file, read once; from a pipe it has no name."""
    return RecordedFile("" if str(path) == PIPE else path.name, recorded_bytes(path))


def note(
    entry: Entry,
    asked: Asked,
    asking: Question,
    golden: Golden,
    told: Reply,
    recorded: RecordedFile | None = None,
) -> dict[str, str]:
    """Write one try; returns where it stands, for scripts."""
    attempt = attempt_of(entry, asking, golden.facts, told, recorded)
    details = Details(told.answer, bench(entry, asked, asking))
    write(entry, entry.chip(asking.board, asked.board), attempt, details, recorded)
    return {"file": str(entry.path), "id": attempt.id}


def told_by_check(
    answer: Mapping[str, object], golden: Golden, capture: Capture, verdict: Verdict, start: int
) -> Reply:
    """The answer of `check` with what only a notebook needs: why nothing can be told, and the outputs where the first
    bit differs."""
    what, why = kind(verdict, golden, start)
    named = Path(str(answer["capture"])).name  # the folder is nobody's business
    known = {
        **answer,
        "capture": named,
        "reasons": [*why, *verdict.reasons],
        "outputs": seen(golden, capture, verdict),
    }
    return Reply("check", known, what, verdict.evidence)


def said(entry: Entry) -> str:
    """What a person is told once a try is written."""
    return f"Written into {entry.path}."


def attempt_of(
    entry: Entry, asking: Question, facts: Mapping[str, object], told: Reply, recorded: RecordedFile | None
) -> Attempt:
    """The try; `facts` are those of the golden."""
    return Attempt(
        board=asking.board.name,
        slot=asking.slot,
        design=asking.sheet.name,
        title=asking.sheet.title,
        command=told.command,
        who=entry.who,
        note=entry.note,
        board_sha256=str(facts["board_sha256"]),
        design_sha256=str(facts["netlist_sha256"]),
        procedure=asking.procedure.name,
        procedure_sha256=str(facts["procedure_sha256"]),
        code=asking.code,
        inputs=levels_when_up(asking),
        verdict=told.verdict,
        evidence=told.evidence,
        recording=recorded.sha256 if recorded else None,
        recording_name=recorded.name if recorded else "",
        program=program(),
    )


def bench(entry: Entry, asked: Asked, asking: Question) -> dict[str, object]:
    """What was done at the bench, so that the same question can be asked again."""
    return {
        "slot": entry.beside(asked.slot),
        "actions": [to_text(action) for action in asking.procedure.actions],
        "added": asking.added,
        "setting_up": asking.setting_up,
        "seed": asking.seed,
        "power_ups": asking.power_ups,
        "map": dict(asked.mapping),
        "itself": asking.itself,
    }


def levels_when_up(asking: Question) -> int:
    """The levels of the eight inputs when the slot has been brought up, bit 0 first."""
    levels: dict[str, int] = {}
    for action in asking.procedure.actions[: asking.setting_up]:
        if isinstance(action, Set):
            levels |= action.levels
    return sum(level << int(line[1:]) for line, level in levels.items())


def note_untold(entry: Entry, asked: Asked, error: ForelightError, recorded: RecordedFile) -> None:
    """Write that nothing can be foretold of a design, and why, where it is one of the board's."""
    board = load_board(asked.board)
    number = int(asked.slot) if asked.slot.isdecimal() else None
    try:
        found = find(board, asked.slot)
        name, title, number = found.datasheet.name, found.datasheet.title, found.slot
    except ForelightError:
        name, title = Path(board.slots.get(number, asked.slot) if number is not None else asked.slot).name, ""
    if number is None or number not in board.slots:
        return
    attempt = Attempt(
        board=board.name,
        slot=number,
        design=name,
        title=title,
        command="check",
        who=entry.who,
        note=entry.note,
        board_sha256=board_hash(board),
        procedure=asked.run_name or "default",
        verdict=UNTOLD,
        recording=recorded.sha256,
        recording_name=recorded.name,
        program=program(),
    )
    details = Details({"reasons": [str(error)]}, {"slot": asked.slot, "map": dict(asked.mapping)})
    write(entry, entry.chip(board, asked.board), attempt, details, recorded)


def kind(verdict: Verdict, golden: Golden, start: int) -> tuple[str, tuple[str, ...]]:
    """The verdict as the notebook has it, and why, where no recording of these lines would tell."""
    row = int(np.searchsorted(golden.ticks, start, side="right")) - 1
    settled = int(np.bitwise_or.reduce(golden.settled[row:]))
    outputs = [line for line in verdict.lines if line.startswith("o")]
    if verdict.kind == INCONCLUSIVE and not any(settled >> int(line[1:]) & 1 for line in outputs):
        lines = "no output" if not settled else f"none of {', '.join(outputs) or 'what was recorded'}"
        return UNTOLD, (f"Nothing can be foretold: {lines} is ever settled once the slot is up.",)
    return verdict.kind, ()


def seen(golden: Golden, capture: Capture, verdict: Verdict) -> dict[str, str] | None:
    """The eight outputs where the first bit differs, as foretold and as recorded, o7 first, `x` where it is not known;
    None where nothing differs, or where the place in the recording is not."""
    first = verdict.first
    if first is None:
        return None
    if first.capture_s is not None:
        row = int(np.searchsorted(golden.ticks, first.golden_s * golden.oscillator_hz, side="right")) - 1
        at = first.capture_s
    elif verdict.entries is not None:
        row = int(np.searchsorted(golden.steps, first.step, side="right")) - 1
        at = capture.start + verdict.entries[0] - 1
    else:
        return None
    lines = [f"o{bit}" for bit in reversed(range(8))]
    found = {line: int(capture.lines[line].at(np.array([at]))[0]) for line in lines if line in capture.lines}
    if found.get(first.line) != first.seen:
        return None
    foretold = {line: golden.outputs[row] >> int(line[1:]) & 1 for line in lines}
    for line in lines:
        if not golden.settled[row] >> int(line[1:]) & 1:
            foretold[line] = 2
    return {
        "line": first.line,
        "foretold": "".join("01x"[foretold[line]] for line in lines),
        "seen": "".join("01x"[min(found.get(line, 2), 2)] for line in lines),
    }
