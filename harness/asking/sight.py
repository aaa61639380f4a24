"""What the eye makes of an answer, which strap codes would make it readable, and when the first light comes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from forelight.designs.procedures.procedure import Action, Repeat, Strap
from forelight.sim.errors import ForelightError
from forelight.sim.frozen import frozen

from ..bench.inside import Inside
from ..boards.divider import setting_word
from ..boards.profile import Board
from ..chip.routing import step_input
from ..golden.golden import Golden
from ..hand.routine import divides
from ..view.eye import (
    BLENDED,
    FLICKERING,
    READABLE,
    Impressions,
    fastest,
    impressions,
    readable_codes,
    sentence,
)
from ..view.flashing import Flashing
from ..view.pictures import since
from ..view.words import hertz, seconds
from .question import Question

#: Codes that are tried, each slower than the one before.
TRIES = 4
#: Power-ups of such a try: only the look counts.
FEW = 3
#: The first light is late if it comes after this.
LATE_S = 2.0
#: Steps after the run in which the first light is looked for.
FURTHER = 2_000_000


@frozen
class Readable:
    """A strap code at which the same procedure can be read, as a prediction with it shows; `codes` are all such."""

    code: int
    hz: float
    codes: tuple[range, ...]


def readable(asking: Question, found: Impressions) -> Readable | None:
    """The fastest step clock at which it can be read, found by prediction; None where it can be, or none is found."""
    code, board = asking.code, asking.board
    if found.display.kind not in (FLICKERING, BLENDED) or code is None or not divides(board, asking.sheet):
        return None
    codes = readable_codes(board, float(board.step_hz(code)), found)
    for _ in range(TRIES):
        best = fastest(board, codes)
        if best is None:
            return None
        try:
            look = _at(asking, best)
        except ForelightError:
            return None
        if look.display.kind == READABLE:
            return Readable(best, float(board.step_hz(best)), codes)
        codes = readable_codes(
            board, float(board.step_hz(best)), replace(look, holds_s=(look.holds_s or 0) / 2)
        )
    return None


def _at(asking: Question, code: int) -> Impressions:
    """What the eye makes of the same procedure with another strap code."""
    actions = tuple(_strapped(action, code) for action in asking.procedure.actions)
    other = replace(asking, procedure=replace(asking.procedure, actions=actions), power_ups=FEW)
    return impressions(since(other.golden(), other.start()), asking.board.shown)


def _strapped(action: Action, code: int) -> Action:
    match action:
        case Strap():
            return Strap(code)
        case Repeat(count, inner):
            return Repeat(count, tuple(_strapped(one, code) for one in inner))
        case _:
            return action


def words(asking: Question, found: Impressions, offered: Readable | None) -> Iterator[str]:
    """What the eye makes of it, and what would make it readable."""
    said = sentence(found)
    if offered is not None:
        word = setting_word(asking.board)
        yield (
            f"{said} To read it, take {word} {offered.code}, {hertz(offered.hz)}, or a slower one: "
            f"forelight show {asking.sheet.name} --strap {offered.code}"
        )
    else:
        yield said


def told_to_scripts(found: Impressions, code: int | None, board: Board) -> dict[str, object]:
    """What the eye makes of it, for scripts; `code` makes it readable, where that is wanted and known."""
    return {
        "whole": vars(found.display),
        "lines": {line: vars(one) for line, one in found.lines.items()},
        "readable": None if code is None else {"strap_code": code, "hz": float(board.step_hz(code))},
    }


def flashes(flash: Flashing) -> dict[str, object]:
    """How much it flashes, for scripts."""
    return {"in_a_second": flash.flashes, "line": flash.line, "too_much": flash.too_much}


@frozen
class FirstLight:
    """When the display is lit first: `seconds` after the slot is up, at `step`; `within` the run, or only after it.

    Both are None where it stays dark for as long as was looked.
    """

    seconds: float | None
    step: int | None
    within: bool = True

    def __str__(self) -> str:
        if self.seconds is None:
            return "The display stays dark for as long as was looked."
        after = "" if self.within else ", after the end of this run"
        return f"First light: {seconds(self.seconds)} after the slot is up, at step {self.step}{after}."


def first_light(asking: Question, golden: Golden, inside: Inside) -> FirstLight | None:
    """The first light where it is late; None where it comes soon, or where there is no display."""
    mask = sum(1 << line for line in asking.board.shown)
    if not asking.board.display:
        return None
    lit = np.flatnonzero((golden.outputs & golden.settled & mask) | (~golden.settled & mask))
    if len(lit):
        tick = int(golden.ticks[lit[0]])
        late = tick > LATE_S * golden.oscillator_hz
        return FirstLight(tick / golden.oscillator_hz, int(golden.steps[lit[0]])) if late else None
    step, code = step_input(asking.sheet), asking.code
    if step is None or code is None or inside.seat.memories or not len(inside.rows) or golden.loops:
        return FirstLight(None, None)
    inside.state(len(inside.rows) - 1)
    shown = inside.simulation.run_clock("inputs", bit=step, cycles=FURTHER, observe="outputs")
    first = np.flatnonzero(shown & mask)
    if not len(first):
        return FirstLight(None, None)
    more = int(first[0]) + 1
    lasts = more / float(asking.board.step_hz(code))
    return FirstLight(golden.end / golden.oscillator_hz + lasts, int(golden.steps[-1]) + more, within=False)
