"""`forelight check --any`: which slots of the chip does a capture fit?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path

from forelight.designs.catalogue import Found
from forelight.sim.errors import ForelightError, UsageError
from forelight.sim.frozen import frozen
from rich.table import Table
from rich.text import Text

from ..asking.question import Asked
from ..bench.course import Seat
from ..boards.profile import Board
from ..boards.reader import load_board
from ..boards.roster import find
from ..capture.readers import read_capture
from ..capture.record import Capture
from ..terminal.cores import for_each
from ..terminal.output import emit_json, show
from ..verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict
from .check import EXIT_CODES, odds
from .judging.judge import glimpsed, judged

#: In this order; slots that could not be judged come last.
RANKS = (AGREES, INCONCLUSIVE, DIFFERS)
WORDS = {AGREES: "fits", INCONCLUSIVE: "may fit", DIFFERS: "does not fit"}

NAMED = 8  # slots at least that are listed


@frozen
class SlotFit:
    """What a capture is to one slot, by the `run` of its datasheet that it fits best, or by the usual one; `error` says
    why there is no verdict."""

    slot: int
    name: str
    title: str
    verdict: Verdict | None
    run: str | None = None
    error: str = ""

    @property
    def rank(self) -> tuple[float, ...]:
        """The better the fit, the smaller: by verdict, then by the evidence; the usual run comes first."""
        if self.verdict is None:
            return len(RANKS), 0.0, self.slot, self.run is not None
        return RANKS.index(self.verdict.kind), -self.verdict.evidence, self.slot, self.run is not None


def run(asked: Asked, path: Path, mapping: Mapping[str, str], as_json: bool) -> int:
    """Print the slots, those that fit first. 0 if one fits, 3 if one may, otherwise 1."""
    for said, name in ((asked.run_name, "--run"), (asked.procedure, "--procedure"), (asked.play, "--play")):
        if said is not None:
            raise UsageError(
                f"{name} belongs to one design and --any asks for all", remedy="leave one of them out"
            )
    board = load_board(asked.board)
    capture = read_capture(path, mapping, board.pins, board.display)
    found = sorted(fits(board, asked, capture), key=lambda fit: fit.rank)
    if as_json:
        emit_json({"capture": str(path), "board": board.name, "slots": [_plain(fit) for fit in found]})
    else:
        show(*paragraphs(board, capture, found))
    kinds = {fit.verdict.kind for fit in found if fit.verdict}
    return next((EXIT_CODES[kind] for kind in RANKS if kind in kinds), EXIT_CODES[DIFFERS])


def fits(board: Board, asked: Asked, capture: Capture) -> Iterator[SlotFit]:
    """One for each slot that holds a design, in their order; on all cores."""
    slots = sorted(board.slots)
    if not slots:
        raise UsageError(f"{board.name} holds no design", remedy="fill its roster, or name another board")
    items = [(replace(asked, slot=str(slot)), slot, board.slots[slot]) for slot in slots]
    yield from for_each(_fit, items, "Trying the slots", partial(_begin, board, capture))


_AT_HAND: list[tuple[Board, Capture]] = []  # of a worker process: what all its jobs look at


def _begin(board: Board, capture: Capture) -> None:
    _AT_HAND[:] = [(board, capture)]


def _fit(item: tuple[Asked, int, str]) -> SlotFit:
    """The verdict on one slot, in a process of its own."""
    asked, slot, entry = item
    try:
        board = _AT_HAND[0][0]
        found = find(board, asked.slot)
        sheet = found.datasheet
        seats: dict[int, Seat] = {}
        tried = [
            SlotFit(slot, sheet.name, sheet.title, *_of_run(asked, found, name, seats))
            for name in (None, *(run.name for run in sheet.runs))
        ]
    except ForelightError as error:
        return SlotFit(slot, Path(entry).name, "", None, error=str(error))
    return min(tried, key=lambda fit: fit.rank)


def _of_run(
    asked: Asked, found: Found, name: str | None, seats: dict[int, Seat]
) -> tuple[Verdict | None, str | None, str]:
    """The verdict by the run of that name, or by the usual one; its name; and why there is none. Only what agrees at a
    glimpse is proved."""
    board, capture = _AT_HAND[0]
    asked = replace(asked, run_name=name, seconds=None if name else asked.seconds)
    try:
        verdict = glimpsed(asked, board, found, capture, seats)
        if verdict.kind == AGREES:
            verdict = judged(asked, capture, board, found)[2]
    except ForelightError as error:
        return None, name, str(error)
    return verdict, name, ""


def _plain(fit: SlotFit) -> dict[str, object]:
    said = {
        "slot": fit.slot,
        "name": fit.name,
        "title": fit.title,
        "run": fit.run,
        "why_not": fit.error or None,
    }
    return said | (fit.verdict.to_json() if fit.verdict else {"verdict": None})


def paragraphs(board: Board, capture: Capture, found: list[SlotFit]) -> Iterator[Text | Table | str]:
    """The answer in a sentence, then slot by slot."""
    sure = [fit for fit in found if fit.verdict and fit.verdict.kind == AGREES]
    maybe = [fit for fit in found if fit.verdict and fit.verdict.kind == INCONCLUSIVE]
    listed = ", ".join(f"{fit.title} in slot {fit.slot}" for fit in sure)
    head = (
        f"{capture.source} fits {listed}"
        if sure
        else f"{capture.source} fits no slot of {board.name} for sure"
    )
    yield Text(head, style="bold").append(
        f"; {len(maybe)} of {len(found)} slots cannot be told.", style="not bold"
    )
    table = Table(box=None, pad_edge=False, show_header=False)
    named = found[: max(len(sure) + len(maybe), NAMED)]
    for fit in named:
        word, why = (
            (WORDS[fit.verdict.kind], listed_why(fit.verdict)) if fit.verdict else ("not tried", fit.error)
        )
        run = f', run "{fit.run}"' if fit.run and fit.verdict and fit.verdict.kind != DIFFERS else ""
        table.add_row(str(fit.slot), (fit.title or fit.name) + run, word, why)
    yield ""
    yield table
    if len(found) > len(named):
        yield f"{len(found) - len(named)} more slots fit less."
    yield ""
    yield (
        "Each slot was taken to be brought up with its inputs at rest, or to go through a run of its datasheet; "
        "`forelight check SLOT` takes other set-ups."
    )
    if capture.notes:
        yield "How the capture was read:"
        yield from (f"  {note}" for note in capture.notes)


def listed_why(verdict: Verdict) -> str:
    """What a slot's row says of its verdict."""
    if verdict.kind == AGREES:
        return f"{verdict.bits} bits in {verdict.steps} steps; odds {odds(verdict.evidence)}"
    return verdict.reasons[0] if verdict.reasons else ""
