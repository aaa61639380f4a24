"""Wrong clocks: strap codes, a step clock that is off, an oscillator that stands still, an outside clock."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import Action, Enable, Frames, Oscillator, Seconds, Steps, Strap

from ...boards.profile import Board
from ...capture.record import Capture
from ...hand.routine import divides
from .cause import Cause, Change, Edit, Situation, edited, throughout

#: Codes of which each is a cause of its own; the step source of a direct link has more.
MOST_CODES = 256


def causes(it: Situation, capture: Capture) -> Iterator[Cause]:
    """All wrong clocks that this situation allows."""
    del capture
    code = next((action.code for action in it.before if isinstance(action, Strap)), None)
    if code is not None:
        yield from _codes(it.board, code)
        yield Cause(
            "step clock off", "step clock off", "The step clock was off: nothing stepped the design.",
            f"Enable the step clock with strap code {code}.", _off(it.board, code),
        )  # fmt: skip
        yield Cause(
            "outside clock", "outside clock",
            "Something else than the board's own step clock stepped the design, or another rate than any strap code gives.",
            "Take the outside source off the step line, and enable the step clock.",
            lambda it: replace(it, pace=None),
        )  # fmt: skip
    if divides(it.board, it.sheet) or it.board.link == "chain":
        yield Cause(
            "oscillator stopped", "oscillator stopped", "The board's oscillator stood still.",
            "Switch the oscillator on, or look for its signal with a probe.", _stopped(it.board, code),
        )  # fmt: skip


def _codes(board: Board, code: int) -> Iterator[Cause]:
    """Each other code once, as the likeliest of the ways to come to it."""
    seen = {code}
    if board.strapped:
        for bit, line in enumerate(INPUT_LINES):
            pulled = board.pulls.get(line, 0)
            other = code & ~(1 << bit) | pulled << bit
            if other not in seen:
                seen.add(other)
                yield _strapped(
                    "strap switch without contact", code, other,
                    f"switch {line} did not make contact when the step clock was enabled",
                )  # fmt: skip
        misread = {
            int(f"{code:08b}"[::-1], 2): "the switches were read from the wrong end",
            code ^ 0xFF: "each switch stood the other way",
            code + 1: "the code is one too high",
            code - 1: "the code is one too low",
        }
        for other, why in misread.items():
            if other not in seen and 0 <= other < board.codes:
                seen.add(other)
                yield _strapped("strap code misread", code, other, why)
    for other in range(min(board.codes, MOST_CODES)):
        if other not in seen:
            yield _strapped("another strap code", code, other, "")


def _strapped(kind: str, code: int, other: int, why: str) -> Cause:
    def edit(action: Action) -> Iterable[Action]:
        return (Strap(other),) if isinstance(action, Strap) and action.code == code else (action,)

    return Cause(
        kind, f"strap code {other}",
        f"The step clock runs by strap code {other} and not {code}" + (f": {why}." if why else "."),
        f"Switch the step clock off and strap {code} again, switch by switch.", throughout(edit),
    )  # fmt: skip


def _off(board: Board, code: int) -> Change:
    """Never enabled; whoever waits for steps waits as long as they would take."""
    return _unclocked(board, code, ())


def _stopped(board: Board, code: int | None) -> Change:
    """A chain shows what it shows at power-up; a design on a direct link gets no steps."""
    if board.link != "chain":
        return _unclocked(board, code, ())

    def change(it: Situation) -> Situation:
        still = _unclocked(board, code, (Frames(1), Oscillator(False)))(it)
        return replace(
            still,
            before=(still.before[0], *edited(still.before[1:], _as_time(board))),
            then=edited(still.then, _as_time(board)),
        )

    return change


def _as_time(board: Board) -> Edit:
    def edit(action: Action) -> Iterable[Action]:
        return (Seconds(float(action.count / board.frame_hz)),) if isinstance(action, Frames) else (action,)

    return edit


def _unclocked(board: Board, code: int | None, first: tuple[Action, ...]) -> Change:
    half = board.half(code or 0)

    def edit(action: Action) -> Iterable[Action]:
        if isinstance(action, Strap | Enable):
            return ()
        return (Frames(2 * half * action.count),) if isinstance(action, Steps) else (action,)

    def change(it: Situation) -> Situation:
        return replace(it, before=(*first, *edited(it.before, edit)), then=edited(it.then, edit))

    return change
