"""Wrong clocks: strap codes, a step clock that is off, an oscillator that stands still, an outside clock."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import (
    Action,
    Enable,
    Frames,
    Oscillator,
    Repeat,
    Restart,
    Seconds,
    Set,
    Steps,
    Strap,
)

from ...boards.profile import Board
from ...capture.record import Capture
from ...hand.hand import Hand
from ...hand.routine import divides, one_by_one
from .foretell import shortened
from .mishap import Change, Edit, Handling, Mishap, edited, throughout

#: Codes of which each is a cause of its own; the step source of a direct link has more.
MOST_CODES = 256


def causes(it: Handling, capture: Capture) -> Iterator[Mishap]:
    """All wrong clocks that this handling allows."""
    del capture
    code = next((action.code for action in it.before if isinstance(action, Strap)), None)
    if code is not None:
        yield from _codes(it.board, code)
        yield Mishap(
            "step clock off",
            "step clock off",
            "The step clock was off, so that nothing stepped the design.",
            f"Set strap code {code} and switch the step clock on"
            + (", put the input switches back, and restart." if it.board.strapped else ", and restart."),
            _off(it.board, code),
        )
        yield Mishap(
            "outside clock",
            "outside clock",
            "The design was stepped at another rate: by a clock from outside, or the instrument counts time wrongly.",
            "Take any outside source off the step line, enable the step clock, and look at the instrument's time base.",
            lambda it: replace(it, pace=None),
        )
    if divides(it.board, it.sheet) or it.board.link == "chain":
        yield Mishap(
            "oscillator stopped",
            "oscillator stopped",
            "The board's oscillator stood still, so that nothing on the board moved.",
            "Switch the oscillator on, or look for its signal with a probe.",
            _stopped(it.board, code),
        )


def stopped_on_the_way(it: Handling, steps: int, seconds: float) -> Mishap:
    """The clock stops for good after so many steps of the run, of which `seconds` are still recorded."""
    return Mishap(
        "clock stopped on the way",
        "clock stopped on the way",
        f"The clock stopped on the way: after step {steps} nothing moved any more.",
        "Look whether the step clock is still enabled and the board still has power; then run it again from the start.",
        lambda it: replace(it, then=(*shortened(it.then, steps), Oscillator(False), Seconds(seconds))),
    )


def _codes(board: Board, code: int) -> Iterator[Mishap]:
    """Each other code once, as the likeliest of the ways to come to it."""
    seen = {code}
    if board.strapped:
        for bit, line in enumerate(INPUT_LINES):
            pulled = board.pulls.get(line, 0)
            other = code & ~(1 << bit) | pulled << bit
            if other not in seen:
                seen.add(other)
                yield _strapped(
                    "strap switch without contact",
                    code,
                    other,
                    f"switch {line} made no contact when the step clock was switched on",
                )
        other_law = replace(board, law="counter" if board.law == "two-stage" else "two-stage")
        misread = {
            next((c for c in range(board.codes) if other_law.half(c) == board.half(code)), code): (
                "that is the code for this rate on a board with another kind of divider"
            ),
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


def _strapped(kind: str, code: int, other: int, why: str) -> Mishap:
    def edit(action: Action) -> Iterable[Action]:
        return (Strap(other),) if isinstance(action, Strap) and action.code == code else (action,)

    return Mishap(
        kind,
        f"strap code {other}",
        f"The step clock runs by strap code {other} and not {code}" + (f": {why}." if why else "."),
        f"Switch the step clock off, set strap code {code} switch by switch, and switch it on again.",
        throughout(edit),
    )


def _off(board: Board, code: int) -> Change:
    """Never enabled; whoever waits for steps waits as long as they would take."""
    return _unclocked(board, code, ())


def _stopped(board: Board, code: int | None) -> Change:
    """A chain shows what it shows at power-up; a design on a direct link gets no steps."""
    if board.link != "chain":
        return _unclocked(board, code, ())

    def change(it: Handling) -> Handling:
        as_time = _as_time(board, board.half(code or 0))
        still = _unclocked(board, code, (Frames(1), Oscillator(False)))(it)
        return replace(
            still,
            before=(still.before[0], *edited(still.before[1:], as_time)),
            then=edited(still.then, as_time),
        )

    return change


def _as_time(board: Board, half: int) -> Edit:
    """What lasts for frames lasts as long by a watch, and a restart that nothing carries is a wait."""

    def edit(action: Action) -> Iterable[Action]:
        match action:
            case Frames(count):
                return (Seconds(float(count / board.frame_hz)),)
            case Restart(length):
                return (Seconds(float(2 * half * length / board.frame_hz)),)
            case _:
                return (action,)

    return edit


def _unclocked(board: Board, code: int | None, first: tuple[Action, ...]) -> Change:
    half = board.half(code or 0)

    def edit(action: Action) -> Iterable[Action]:
        if isinstance(action, Strap | Enable):
            return ()
        return (Frames(2 * half * action.count),) if isinstance(action, Steps) else (action,)

    def change(it: Handling) -> Handling:
        return replace(it, before=(*first, *edited(it.before, edit)), then=edited(it.then, edit))

    return change


def by_watch(it: Handling, code: int) -> Handling | None:
    """The same by a hand that takes the clock for that of strap code `code`: it waits as long as its steps would take,
    and counts none. None where nothing is moved after that, nor restarted for too short or too long."""
    moved = any(isinstance(action, Set) for action in one_by_one(it.then))
    if not moved and not any(isinstance(action, Restart) for action in one_by_one((*it.before, *it.then))):
        return None
    hand = Hand(it.board, it.sheet, it.slot)

    def timed(actions: tuple[Action, ...]) -> Iterator[Action]:
        for action in actions:
            if isinstance(action, Repeat):
                yield from timed(action.actions * action.count)
                continue
            since = hand.frame
            hand.do([Strap(code) if isinstance(action, Strap) else action])
            yield from _lasting(action, hand.frame - since, it)

    return replace(it, before=tuple(timed(it.before)), then=tuple(timed(it.then)))


def _lasting(action: Action, frames: int, it: Handling) -> Iterator[Action]:
    """An action that waits for so many frames and not for steps."""
    restart = it.sheet.restart
    match action:
        case Steps():
            yield Frames(frames)
        case Restart() if restart is not None and restart.line in INPUT_LINES and frames >= 2:
            active = int(restart.active == "high")
            yield Set({restart.line: active})
            yield from (Frames(frames - 2),) if frames > 2 else ()
            yield Set({restart.line: 1 - active})
        case _:
            yield action
