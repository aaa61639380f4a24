"""The status line of a bench: step clock, restart, and why nothing moves, in sentences; the one place for them.

A finished prediction and a bench that is played live both fill the record; what it leaves at its default is not known,
and nothing is said of it.
"""

from __future__ import annotations

from collections.abc import Iterator

from forelight.sim.frozen import frozen
from forelight.sim.plain_text import listed

from .words import hertz

#: Step clocks as they stand: the divider runs; its oscillator is off; it is switched off, so that the step line follows
#: its switch, or what drives it; it is on, but on another line than the design's.
RUNNING, STOPPED, OFF, ELSEWHERE = "running", "stopped", "off", "elsewhere"


@frozen
class Touch:
    """What became of a press, or of any move of a contact: from `start_s` to `end_s`, on an input line.

    `touches` is how often the contact closed, `rises` how often the design saw its line rise; `seen` whether anything
    in the design became different by it.
    """

    line: str
    start_s: float
    end_s: float
    touches: int = 1
    rises: int = 1
    seen: bool = True


@frozen
class Status:
    """A bench at one moment, as far as it decides whether anything moves.

    `step_line` is `i0`..`i7`, `own`, or None for plain logic; `clock` one of `RUNNING`, `STOPPED`, `OFF`, `ELSEWHERE`
    (then `clock_line` is where the board has its step clock); `hz` the rate of the step clock, or, by hand, of the
    hand. `paused` says that a chain has no frames, as its oscillator is off. `restart_line` is `i0`..`i7`, `own`, or
    None for a design without one. `still` says that no output moves now; `holding` are the lines, each of which alone
    keeps it so. `last_s` is when an output moved last, `next_s` when one will, where that is known. `touches` are
    those of contacts that have come to rest.
    """

    step_line: str | None
    clock: str = RUNNING
    hz: float | None = None
    paused: bool = False
    clock_line: str = ""
    restart_line: str | None = None
    restart_held: bool = False
    still: bool = False
    holding: tuple[str, ...] = ()
    last_s: float | None = None
    next_s: float | None = None
    touches: tuple[Touch, ...] = ()


def sentences(now: Status) -> list[str]:
    """The status line, sentence by sentence: step clock, restart, why nothing moves, what became of contacts."""
    restart = () if now.restart_line is None else (_restart(now),)
    return [_clock(now), *restart, *_stillness(now), *map(_touch, filter(_is_odd, now.touches))]


def _clock(now: Status) -> str:
    if now.step_line is None:
        return "Plain logic, without a step clock."
    line = _named(now.step_line, "step line")
    match now.clock:
        case "running":
            return f"Step clock on {line}: running{_at(now.hz)}."
        case "stopped":
            return f"Step clock on {line}: stopped, the oscillator is off."
        case "elsewhere":
            board = "a line of its own" if now.clock_line == "own" else now.clock_line
            return f"Step line {line}: by hand{_at(now.hz)}; the board's step clock is on {board}."
        case _:
            return f"Step clock off: {line} is stepped by hand{_at(now.hz)}."


def _at(hz: float | None) -> str:
    return "" if hz is None else f" at {hertz(hz)}"


def _restart(now: Status) -> str:
    line = _named(now.restart_line or "", "restart line")
    return f"Restart held by {line}." if now.restart_held else f"Restart on {line} not held."


def _stillness(now: Status) -> Iterator[str]:
    """Why nothing moves; the first cause that suffices."""
    if not now.still:
        return
    if now.restart_held:
        yield f"Nothing moves: restart is held by {_named(now.restart_line or '', 'restart line')}."
    elif now.paused or now.clock == STOPPED:
        yield "Nothing moves: the oscillator is off."
    elif now.holding:
        yield f"Nothing moves: {listed(now.holding)} {'holds' if len(now.holding) == 1 else 'hold'} it."
    elif now.step_line is None:
        yield "Nothing moves: plain logic moves only when an input does."
    elif now.clock == OFF:
        yield "Nothing moves: the step clock is off."
    elif now.last_s is not None:
        yield f"Nothing has moved since {now.last_s:.3f} s."
    else:
        yield "Nothing has moved yet."
    if now.next_s is not None:
        yield f"The next change comes at {now.next_s:.3f} s."


def _is_odd(touch: Touch) -> bool:
    """Whether there is anything to say of it."""
    return not touch.seen or touch.touches > 1 or touch.rises != touch.touches


def _touch(touch: Touch) -> str:
    line = touch.line
    if not touch.seen:
        span = f"{touch.start_s:.3f} to {touch.end_s:.3f} s"
        if touch.rises == 0:
            return f"The press of {line} was too short to reach the design: {span}."
        return f"The press of {line} lay between two steps and was not seen: {span}."
    return f"The contact of {line} touched {_times(touch.touches)}; the design saw {_rises(touch.rises)}."


_NUMBERS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{_number(count)} times")


def _rises(count: int) -> str:
    return f"{_number(count)} rise{'' if count == 1 else 's'}"


def _named(line: str, role: str) -> str:
    return f"the board's own {role}" if line == "own" else line
