"""`forelight survey FILE [SLOT]`: the chip at a glance, or all tries of one slot."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from forelight.sim.errors import UsageError
from rich.table import Table
from rich.text import Text

from ...survey import chart
from ...survey.attempt import WITHDRAW, Attempt, Details
from ...survey.findings import Findings, gathered
from ...survey.notebook import Notebook, reading
from ...survey.report.content import HEADINGS, name, sections, summary, title
from ...survey.report.tables import plain, tried
from ...survey.standing import UNTRIED, withdrawn
from ...terminal.output import emit_json, show
from ...verdict.kinds import AGREES

#: Characters of an id by which a person names a try.
SHORT = 8
NOTHING = "Nothing has been tried yet: `check`, `count` and `card` write into it with --survey."


def run(path: Path, slot: str | None, board: str | None, as_json: bool) -> int:
    """Print how the slots stand."""
    with reading(path) as notebook:
        found = gathered(notebook, board)
        if slot is not None:
            return _one(notebook, found, slot, as_json)
    if as_json:
        emit_json({"file": str(path), "chips": [plain(one, names=True) for one in found]})
    elif not found:
        show(NOTHING)
    else:
        for number, one in enumerate(found):
            show(*([""] if number else []), *paragraphs(one))
    return 0


def paragraphs(found: Findings) -> Iterator[Text | Table | str]:
    """The counts, the chart, then slot by slot what wants attention."""
    yield Text(title(found), style="bold").append(f": {summary(found)}", style="not bold")
    yield ""
    yield from chart.lines(found.chip, found.by_slot)
    yield f"{chart.legend()}; a row begins with the number of its first slot."
    for kind, members in sections(found):
        if kind == UNTRIED:
            continue
        yield ""
        yield Text(f"{HEADINGS[kind]}:", style="bold")
        if kind == AGREES:
            yield f"  {', '.join(map(name, members))}"
            continue
        table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
        table.add_column(justify="right", no_wrap=True)
        for one in members:
            place = "" if one.slot is None else str(one.slot)
            table.add_row(f"  {place}", one.title or one.design, found.why(one, names=True))
        yield table


def _one(notebook: Notebook, found: Sequence[Findings], slot: str, as_json: bool) -> int:
    """All tries of one slot."""
    tries = [
        attempt for one in found for attempt in one.attempts if slot in (str(attempt.slot), attempt.design)
    ]
    if not tries:
        raise UsageError(
            f"slot {slot} was not tried",
            place=str(notebook.path),
            remedy="give the number or name of one that was",
        )
    told, gone = notebook.details(attempt.id for attempt in tries), withdrawn(tries)
    if as_json:
        plains = [_plain(one, told[one.id]) | {"withdrawn": one.id in gone} for one in tries]
        emit_json({"file": str(notebook.path), "tries": plains})
    else:
        for attempt in tries:
            show(*_try(attempt, told[attempt.id], attempt.id in gone))
    return 0


def _plain(attempt: Attempt, details: Details) -> dict[str, object]:
    head = {"id": attempt.id, "board": attempt.board, "slot": attempt.slot, "name": attempt.design}
    by = {"who": attempt.who, "at": attempt.at, "again_of": attempt.again_of, "verdict": attempt.verdict}
    return head | by | tried(attempt) | {"answer": details.answer}


def _try(attempt: Attempt, details: Details, gone: bool) -> Iterator[Text | str]:
    """One try, in a few lines."""
    by = f" by {attempt.who}" if attempt.who else ""
    head = f"{attempt.at[:16].replace('T', ' ')} UTC, {attempt.command}{by}"
    said = attempt.verdict or "a card was made"
    if attempt.command == WITHDRAW:
        said = f"try {(attempt.again_of or '')[:SHORT]} does not count"
    again = ", judged anew" if attempt.again_of and attempt.verdict else ""
    later = ", withdrawn later" if gone else ""
    yield Text(head, style="bold").append(
        f"{again}: {said}{later}; id {attempt.id[:SHORT]}", style="not bold"
    )
    if attempt.command == WITHDRAW:
        yield from ([f"  Note: {attempt.note}"] if attempt.note else [])
        return
    where = (
        f"slot {attempt.slot} of {attempt.board}" if attempt.slot is not None else f"tried on {attempt.board}"
    )
    code = "" if attempt.code is None else f", strap code {attempt.code}"
    yield f"  {attempt.title or attempt.design}, {where}; {attempt.under}{code}."
    yield from (f"  {reason}" for reason in details.reasons)
    if attempt.recording:
        yield f"  Recording: {attempt.recording_name or 'from a pipe'}, SHA-256 {attempt.recording[:16]}."
    if attempt.note:
        yield f"  Note: {attempt.note}"
