"""`forelight survey merge`: the notebooks of several people joined, and where these contradict each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from forelight.sim.errors import UsageError
from rich.text import Text

from ...survey.attempt import Attempt
from ...survey.findings import gathered
from ...survey.joining import Joined, join
from ...survey.notebook import reading
from ...survey.report.content import evidence
from ...survey.report.tables import tried
from ...terminal.output import emit_json, show

CONTRADICTED = 1


def run(into: Path, others: Sequence[Path], as_json: bool) -> int:
    """Join them; 1 where people contradict each other."""
    for other in others:
        if other.resolve() == into.resolve():
            raise UsageError(
                "a notebook cannot be joined with itself", place=str(other), remedy="name another"
            )
    joined = join(into, others)
    with reading(into) as notebook:
        pairs = [pair for found in gathered(notebook) for pair in found.contradictions()]
    if as_json:
        emit_json(
            {
                "file": str(into),
                "joined": [one.to_json() for one in joined],
                "contradictions": [_plain(pair) for pair in pairs],
            }
        )
    else:
        show(*paragraphs(into, joined, pairs))
    return CONTRADICTED if pairs else 0


def paragraphs(
    into: Path, joined: Sequence[Joined], pairs: Sequence[tuple[Attempt, Attempt]]
) -> Iterator[Text | str]:
    """What came from where, then each contradiction."""
    for came in joined:
        yield f"{came.file}: {came.new} of {_tries(came.tries)} new to {into}, {came.recordings} with the recording."
        if came.otherwise:
            yield f"  {_tries(came.otherwise)} that {into} holds already say something else there: left as they were."
    yield ""
    if not pairs:
        yield "Nobody contradicts anybody."
        return
    yield Text(f"People contradict each other about {_slots(len(pairs))}:", style="bold")
    for one, other in pairs:
        place = f"slot {one.slot} of {one.board}" if one.slot is not None else f"on {one.board}"
        yield f"  {one.title or one.design}, {place}, {one.under}:"
        yield from (
            f"    {side.who or 'somebody'}, {side.at[:10]}: {side.verdict}{_rest(side)}"
            for side in (one, other)
        )
        if one.design_sha256 != other.design_sha256:
            yield "    They held it against two versions of the design."
        if one.recording and one.recording == other.recording:
            yield "    It is one and the same recording."


def _rest(side: Attempt) -> str:
    return f"{evidence(side)}; {side.note}" if side.note else evidence(side)


def _tries(count: int) -> str:
    return "1 try" if count == 1 else f"{count} tries"


def _slots(count: int) -> str:
    return "one slot" if count == 1 else f"{count} slots"


def _plain(pair: tuple[Attempt, Attempt]) -> dict[str, object]:
    tries = [
        {"id": one.id, "who": one.who, "at": one.at, "verdict": one.verdict} | tried(one) for one in pair
    ]
    return {"board": pair[0].board, "slot": pair[0].slot, "name": pair[0].design, "tries": tries}
