"""`forelight survey again`: all kept recordings judged anew, and which verdicts moved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from forelight.designs.catalogue import is_there
from forelight.designs.procedures.procedure import Play, Procedure, parse
from forelight.sim.errors import ForelightError, UsageError
from forelight.sim.frozen import frozen
from rich.text import Text

from ...asking.question import Question
from ...boards.profile import Board
from ...boards.roster import find
from ...capture.readers import parse_capture
from ...hand.routine import check_on
from ...options import MOST_POWER_UPS
from ...survey.answers import table, text
from ...survey.attempt import Attempt, Details, fresh_id, now, texts
from ...survey.keeping import program
from ...survey.notebook import reading, writing
from ...survey.standing import valid
from ...terminal.cores import for_each
from ...terminal.output import emit_json, show
from ...verdict.kinds import AGREES, DIFFERS
from .. import noting
from ..check import answer, grounds
from ..judging.judge import held_against
from .places import board_of

MOVED = 1


@frozen
class Judged:
    """A try and what is said of its recording now; `error` says why nothing is."""

    attempt: Attempt
    anew: Attempt | None
    details: Details
    error: str = ""

    @property
    def moved(self) -> bool:
        return self.anew is not None and self.anew.verdict != self.attempt.verdict


def run(path: Path, board_name: str | None, write: bool, as_json: bool) -> int:
    """Judge them; 1 where a verdict moved."""
    with reading(path) as notebook:
        board = board_of(notebook, board_name)
        kept = notebook.kept()
        tries = [one for one in valid(notebook.attempts(board.name)) if one.command == "check"]
        held = [one for one in tries if one.recording in kept]
        details = notebook.details(one.id for one in held)
    items = [(one, details[one.id]) for one in held]
    found = list(for_each(_judge, items, "Judging anew", partial(_begin, path, board)))
    moved = [one for one in found if one.moved]
    if write and moved:
        with writing(path) as notebook:
            for one in moved:
                assert one.anew is not None
                notebook.add(one.anew, one.details)
    if as_json:
        emit_json(
            {
                "file": str(path),
                "board": board.name,
                "judged": len(found),
                "without_recording": len(tries) - len(held),
                "written": write,
                "moved": [_plain(one) for one in moved],
                "not_judged": [{"id": one.attempt.id, "why_not": one.error} for one in found if one.error],
            }
        )
    else:
        show(*paragraphs(found, moved, len(tries) - len(held), path, write))
    return MOVED if moved else 0


_PLACE: list[tuple[Path, Board]] = []  # of a worker process: the notebook and the board of all its jobs


def _begin(path: Path, board: Board) -> None:
    _PLACE[:] = [(path, board)]


def _judge(item: tuple[Attempt, Details]) -> Judged:
    """The verdict on one recording now, in a process of its own."""
    attempt, details = item
    path, board = _PLACE[0]
    try:
        with reading(path) as notebook:
            data = notebook.recording(attempt.recording or "") or b""
        names = {line: str(column) for line, column in table(details.bench, "map").items()}
        capture = parse_capture(data, attempt.recording_name or "recording", names, board.pins, board.display)
        asking = question_of(board, attempt, details, path)
        golden, verdict = held_against(asking, asking.golden(), capture)
        found = answer(asking, golden, verdict, attempt.recording_name)
        if verdict.kind != attempt.verdict:
            found |= grounds(asking, golden, capture, verdict)
        told = noting.told_by_check(found, golden, capture, verdict, asking.start())
    except ForelightError as error:
        return Judged(attempt, None, details, str(error))
    again = replace(
        attempt,
        id=fresh_id(),
        at=now(),
        again_of=attempt.again_of or attempt.id,
        design_sha256=str(golden.facts["netlist_sha256"]),
        board_sha256=str(golden.facts["board_sha256"]),
        verdict=told.verdict,
        evidence=told.evidence,
        program=program(),
    )
    return Judged(attempt, again, Details(told.answer, details.bench))


def question_of(board: Board, attempt: Attempt, details: Details, path: Path) -> Question:
    """What was asked, with what the hand did then, of the design as it is now. A stranger may have written it."""
    where = f"{path}, slot {attempt.slot}"
    actions = parse(list(texts(details.bench, "actions")), where)
    slot = text(details.bench, "slot")
    added, up, power_ups, seed = (
        _number(details, key) for key in ("added", "setting_up", "power_ups", "seed")
    )
    whole = (
        0 <= added <= len(actions)
        and 0 < up <= len(actions)
        and 1 <= power_ups <= MOST_POWER_UPS
        and seed >= 0
    )
    if not slot or not whole or any(isinstance(action, Play) for action in actions):
        raise UsageError(
            "the notebook does not say what was done at the bench",
            place=where,
            remedy="record and check it again",
        )
    beside = path.parent / slot
    found = find(board, str(beside) if not slot.isdecimal() and is_there(beside) else slot)
    check_on(board, found.datasheet, actions, where, slot=found.slot)
    told = actions[added:] if added < up else ()
    procedure = Procedure(attempt.procedure, actions)
    asking = Question(board, found.datasheet, found.slot, procedure, None, added, up, seed, power_ups, told)
    return replace(asking, itself=details.bench.get("itself") is True)


def _number(details: Details, key: str) -> int:
    found = details.bench.get(key)
    return found if isinstance(found, int) else -1


def paragraphs(
    found: Sequence[Judged], moved: Sequence[Judged], without: int, path: Path, written: bool
) -> Iterator[Text | str]:
    """How many, those that moved, those that could not be judged."""
    many = "1 recording" if len(found) == 1 else f"{len(found)} recordings"
    moves = {0: "no verdict", 1: "one verdict"}.get(len(moved), f"{len(moved)} verdicts")
    yield Text(f"{many} judged anew: ").append(f"{moves} moved.", style="bold")
    for one in moved:
        assert one.anew is not None
        by = f" by {one.attempt.who}" if one.attempt.who else ""
        was = _BEFORE.get(one.attempt.verdict, one.attempt.verdict)
        yield f"  {_named(one.attempt)}{by}: {was} before, {one.anew.verdict} now."
        yield from (f"    {reason}" for reason in one.details.reasons[:1])
        if one.attempt.design_sha256 != one.anew.design_sha256:
            yield "    The design has changed since."
    for one in found:
        if one.error:
            yield f"  {_named(one.attempt)}: not judged. {one.error}"
    if without:
        tries = "1 try has" if without == 1 else f"{without} tries have"
        yield f"{tries} no recording in the notebook (`check --keep` puts it there)."
    if moved:
        yield (
            f"Written into {path}."
            if written
            else "Nothing was written; --write puts these verdicts into the notebook."
        )


_BEFORE: dict[str | None, str] = {AGREES: "agreed", DIFFERS: "differed"}


def _named(attempt: Attempt) -> str:
    slot = "" if attempt.slot is None else f"{attempt.slot} "
    return f"{slot}{attempt.title or attempt.design}"


def _plain(one: Judged) -> Mapping[str, object]:
    assert one.anew is not None
    return {
        "id": one.attempt.id,
        "slot": one.attempt.slot,
        "name": one.attempt.design,
        "who": one.attempt.who,
        "before": one.attempt.verdict,
        "verdict": one.anew.verdict,
        "evidence_before": one.attempt.evidence,
        "evidence": one.anew.evidence,
        "design_changed": one.attempt.design_sha256 != one.anew.design_sha256,
        "reasons": list(one.details.reasons),
    }
