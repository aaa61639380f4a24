"""Whether a run comes out as its author says in a form that a machine can check, and the same in words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import groupby

import numpy as np
from forelight.designs.datasheet import Datasheet, Expectations
from forelight.designs.procedures.procedure import Action, Frames, Procedure, Pulse, Repeat, Seconds, Steps
from forelight.sim.errors import CaptureError, ForelightError
from numpy.typing import NDArray

from ..attach.meter import measure
from ..attach.terminal import receive
from ..attach.wiring import wired
from ..boards.profile import Board
from ..capture.eye import as_character, as_levels
from ..golden.golden import Golden
from ..hand.hand import Hand
from ..view.bits import lines
from ..view.pictures import since
from ..view.words import ranges

#: How authors draw characters, whatever board they come to: bar a on o0 and so on to g, and the point on o7.
WIRED = {f"o{bit}": segment for bit, segment in enumerate((*"abcdefg", "point"))}
#: How near a duty must come.
NEAR = 0.0005
#: Of what comes out otherwise, so many are named.
MOST_NAMED = 3

Foretell = Callable[[Procedure], Golden]


def broken(
    board: Board, sheet: Datasheet, said: Expectations, procedure: Procedure, up: int, foretell: Foretell
) -> Iterator[tuple[str, str]]:
    """What does not come true: the key, and what is found instead.

    The first `up` actions of the procedure bring the slot up; `foretell` gives the golden of a procedure.
    """
    if said == Expectations():
        return
    golden = _up(board, sheet, procedure, up, foretell)
    for wrong in _shows(board, sheet, said, procedure, up, golden):
        yield "shows", wrong
    if said.period is not None:
        for wrong in _period(board, sheet, said.period, procedure, up, foretell):
            yield "period", wrong
    for line, share in said.duty.items():
        for wrong in _duty(golden, line, share):
            yield "duty", wrong
    if said.sends:
        for wrong in _sends(sheet, golden, said.sends):
            yield "sends", wrong


def _up(board: Board, sheet: Datasheet, procedure: Procedure, up: int, foretell: Foretell) -> Golden:
    """The golden from the moment at which the slot is up."""
    golden = foretell(procedure)
    return since(golden, _begin(board, sheet, procedure.actions[:up], int(golden.facts["slot"])))


def _begin(board: Board, sheet: Datasheet, actions: Sequence[Action], slot: int) -> int:
    """The tick after these actions."""
    hand = Hand(board, sheet, slot)
    hand.do(actions)
    return hand.now


def _shows(
    board: Board, sheet: Datasheet, said: Expectations, procedure: Procedure, up: int, golden: Golden
) -> Iterator[str]:
    if not said.shows:
        return
    moments, unit = _moments(board, sheet, procedure, up, golden)
    wrong = []
    for number, shown in sorted(said.shows.items()):
        if number >= len(moments):
            wrong.append(f"the run has no {unit} {number}: its last one is {len(moments) - 1}")
            continue
        try:
            expected = _levels(shown)
        except CaptureError as error:
            wrong.append(f"{unit} {number}: {error.what}; {error.remedy}")
            continue
        row = int(moments[number])
        found = _spelled(golden, row)
        if any(want not in ("X", have) for want, have in zip(expected, found, strict=True)):
            wanted = (
                f'"{shown}" ({expected.replace("X", "?")})' if shown != expected.replace("X", "?") else shown
            )
            wrong.append(f"at the end of {unit} {number} it is {_seen(board, golden, row)}, not {wanted}")
    yield from wrong[:MOST_NAMED]
    if len(wrong) > MOST_NAMED:
        yield f"and {len(wrong) - MOST_NAMED} more like that"


def _moments(
    board: Board, sheet: Datasheet, procedure: Procedure, up: int, golden: Golden
) -> tuple[NDArray[np.int64], str]:
    """The row at the end of each step, or, for plain logic, at the end of each wait; and what these are called."""
    if sheet.step is not None:
        return np.searchsorted(golden.steps, np.arange(int(golden.steps[-1]) + 1), side="right") - 1, "step"
    hand = Hand(board, sheet, int(golden.facts["slot"]))
    hand.do(procedure.actions[:up])
    start, ends = hand.now, []
    for action in _flat(procedure.actions[up:]):
        hand.do([action])
        if isinstance(action, (Seconds, Frames)):
            ends.append(hand.now - start)
    return np.searchsorted(golden.ticks, np.array(ends, np.int64), side="left") - 1, "wait"


def _flat(actions: Sequence[Action]) -> Iterator[Action]:
    for action in actions:
        if isinstance(action, Repeat):
            for _ in range(action.count):
                yield from _flat(action.actions)
        else:
            yield action


def _levels(shown: str) -> str:
    """Eight levels, bit 7 first, X for any. Raises CaptureError for what no display shows."""
    if len(shown) == 8 and set(shown) <= set("01?"):
        return shown.replace("?", "X")
    return as_levels(shown, WIRED, True, "shows")


def _spelled(golden: Golden, row: int) -> str:
    levels, settled = int(golden.outputs[row]), int(golden.settled[row])
    return "".join(str(levels >> bit & 1) if settled >> bit & 1 else "?" for bit in range(7, -1, -1))


def _seen(board: Board, golden: Golden, row: int) -> str:
    """What an eye sees there, with the eight levels, `o7` first."""
    shown = as_character(int(golden.outputs[row]), int(golden.settled[row]), board.display)
    return f'"{shown}" ({_spelled(golden, row)})' if board.display else shown


def _period(
    board: Board, sheet: Datasheet, period: int, procedure: Procedure, up: int, foretell: Foretell
) -> Iterator[str]:
    """Over two periods after the run, on the step clock or by hand."""
    longer: tuple[type[Steps] | type[Pulse], ...] = (Steps, Pulse)
    for way in longer:
        whole = Procedure(procedure.name, (*procedure.actions, way(2 * period)), folder=procedure.folder)
        try:
            golden = _up(board, sheet, whole, up, foretell)
            break
        except ForelightError:
            continue
    else:
        yield "it cannot be stepped on after the run: leave period out"
        return
    moments, _ = _moments(board, sheet, whole, up, golden)
    tail = moments[-2 * period - 1 : -1]
    open_lines = int(np.bitwise_or.reduce(~golden.settled[tail]))
    if open_lines:
        names = [f"o{bit}" for bit in range(8) if open_lines >> bit & 1]
        yield f"whether it repeats itself is open: {ranges(names)} are unsettled"
        return
    shown = golden.outputs[tail]
    if not np.array_equal(shown[:period], shown[period:]):
        step = int(np.flatnonzero(shown[:period] != shown[period:])[0])
        seen = [_seen(board, golden, int(tail[row])) for row in (step, step + period)]
        begin = len(moments) - 1 - 2 * period + step
        yield (
            f"it does not repeat itself after {period} steps: at step {begin} it is {seen[0]}, at step "
            f"{begin + period} {seen[1]}"
        )
        return
    for shorter in (n for n in range(1, period // 2 + 1) if period % n == 0):
        if np.array_equal(shown[:-shorter], shown[shorter:]):
            yield f"it repeats itself every {shorter} steps already, not only every {period}"
            return


def _duty(golden: Golden, line: str, share: float) -> Iterator[str]:
    row = next(one for one in lines(golden) if one.name == line)
    if row.unsettled:
        yield f"the duty of {line} is open: it is unsettled for some of the time"
        return
    read = measure(wired(golden, {"signal": line}), golden.oscillator_hz)
    found, over = (row.high, "the run") if read is None else (read.duty.mean, f"{read.periods} whole periods")
    if abs(found - share) > NEAR:
        yield f"{line} is at 1 for {found:.4f} of the time over {over}, not for {share:g}"


def _sends(sheet: Datasheet, golden: Golden, text: str) -> Iterator[str]:
    terminals = [one for one in sheet.attach if one.kind == "serial terminal"]
    if not terminals:
        yield "no serial terminal is wired to it: add an [[attach]]"
        return
    received = []
    for one in terminals:
        baud = one.options.get("baud")
        trace = wired(golden, one.lines)
        received.append(receive(trace, golden.oscillator_hz, float(baud) if baud is not None else None).text)
    if not any(text in found for found in received):
        yield f"the terminal receives {received[0][:80]!r}, in which {text[:80]!r} is not"


def in_words(said: Expectations, *, stepped: bool) -> Iterator[str]:
    """What a machine has checked, a sentence each."""
    unit = "step" if stepped else "wait"
    if said.shows:
        rows = sorted(said.shows.items())
        parts = []
        for _, group in groupby(enumerate(rows), key=lambda pair: pair[1][0] - pair[0]):
            run = [row for _, row in group]
            first, last = run[0][0], run[-1][0]
            when = f"{unit} {first}" if first == last else f"{unit}s {first} to {last}"
            parts.append(f"{when}: {' '.join(shown for _, shown in run)}")
        yield f"At the end of {'; '.join(parts)}"  # no full stop: it would look like a lit point
    if said.period is not None:
        yield f"Repeats itself every {said.period} steps."
    for line, share in said.duty.items():
        yield f"{line} is at 1 for {share:g} of the time."
    if said.sends:
        yield f"Sends {said.sends!r}."
