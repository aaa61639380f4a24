"""The shortest procedure that tells two causes apart on the lines that were recorded, found by simulation.

Theory of operation. A procedure is: bring the slot up, put some inputs to other levels, wait, look at one line. Those
with the fewest inputs moved are tried first, then the shortest wait; each is foretold for both causes, and separates
them where one line is settled for both, at different levels. Where both have the step clock that was meant the wait is
in steps, otherwise in seconds by a watch. What is found is foretold once more from many more power-ups.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import Action, Procedure, Restart, Seconds, Set, Steps
from forelight.sim.errors import ForelightError
from forelight.sim.levels import UNKNOWN

from ...boards.profile import Board
from ..kinds import WHICH_CAUSE
from ..reference import Foretold
from ..rows import foretold_list
from . import writing
from .foretell import Foreteller, clipped
from .mishap import Handling, Mishap

#: Waits that are looked at: steps, and seconds of a watch.
STEPS, SECONDS = 96, 20.0
#: A person looks at a watch to this many seconds, and the line must keep still as long on both sides.
WATCH = 0.25
#: Power-ups from which an experiment is foretold at last.
SURE = 64
MOVED = 2  # inputs at most
#: Kinds of cause that happen once: they are gone when the same is done again.
ONCE = frozenset(
    {"switch not moved", "steps miscounted", "press not seen", "button bounced", "another power-up",
     "clock stopped on the way", *writing.KINDS, writing.SEVERAL}
)  # fmt: skip
#: Kinds of cause that are gone when something else is done.
GONE = ONCE | {"another run", "another slot", "other inputs recorded", "channel late", "wrong time base"}


@dataclass(frozen=True)
class Experiment:
    """Do `actions` once the slot is up, then look at `line`: `first` and `second` are its levels by cause."""

    actions: tuple[Action, ...]
    line: str
    first: int
    second: int

    def procedure(self, expect: str) -> Procedure:
        return Procedure(WHICH_CAUSE, self.actions, expect)


def separating(
    first: Mishap, second: Mishap, it: Handling, lines: tuple[str, ...], teller: Foreteller
) -> Experiment | None:
    """The shortest experiment that separates two causes of what was seen of `it`; None where none was found.

    `lines` are the outputs that can be looked at.
    """
    if {first.kind, second.kind} & GONE or not lines:
        return None
    counted = teller.prospect(it)  # whoever waits for steps waits as long as they should take
    for levels in _settings(it):
        moves: tuple[Action, ...] = (Set(levels),) if levels else ()
        by_step = _foretold((first, second), replace(it, then=(*moves, Steps(STEPS))), teller)
        if by_step is None:
            continue
        if counted is not None and all(_same_clock(one, counted.foretold) for one in by_step):
            found = _by_steps(*by_step, lines)
            wait: Action = Steps(max(found[0], 1)) if found else Steps(1)
        else:
            by_watch = _foretold((first, second), replace(it, then=(*moves, Seconds(SECONDS))), teller)
            looked = _by_watch(*by_watch, lines) if by_watch else None
            found, wait = (None, Steps(1)) if looked is None else ((0, *looked[1:]), Seconds(looked[0]))
        if found is None:
            continue
        _, line, one, other = found
        restart: tuple[Action, ...] = (Restart(),) if it.sheet.restart is not None else ()
        made = Experiment((*restart, *moves, wait), line, one, other)
        if separates(made, (first, second), it, teller, SURE):
            return made
    return None


def _settings(it: Handling) -> Iterator[dict[str, int]]:
    """Levels of the free inputs that are not those of the procedure: none, one, two."""
    special = {said.line for said in (it.sheet.step, it.sheet.restart) if said is not None}
    levels = dict.fromkeys(INPUT_LINES, 0)
    for action in it.before:
        if isinstance(action, Set):
            levels |= action.levels
    free = [line for line in INPUT_LINES if line not in special]
    for count in range(MOVED + 1):
        for chosen in combinations(free, count):
            yield {line: 1 - levels[line] for line in chosen}


def _foretold(
    causes: tuple[Mishap, Mishap], it: Handling, teller: Foreteller
) -> tuple[Foretold, Foretold] | None:
    """What an eye sees by either cause."""
    found = []
    for cause in causes:
        try:
            handling = replace(cause.change(it), pace=1.0)
        except (ForelightError, IndexError, AssertionError):
            return None
        told = teller.prospect(handling)
        if told is None:
            return None
        found.append(clipped(told.foretold, handling.clips))
    return found[0], found[1]


def _same_clock(one: Foretold, other: Foretold) -> bool:
    return one.hz is not None and other.hz is not None and abs(one.unit / other.unit - 1) < 1e-9


def _by_steps(one: Foretold, other: Foretold, lines: tuple[str, ...]) -> tuple[int, str, int, int] | None:
    """Steps until a line is settled and different at the end of one and the next, so that a step more is no harm."""
    pair = [foretold_list(it, lines) for it in (one, other)]
    count = min(len(rows.levels) for rows in pair)
    known = pair[0].known[:count] & pair[1].known[:count]
    differ = (pair[0].levels[:count] ^ pair[1].levels[:count]) & known
    differ[: 1 - pair[0].first] = 0
    steady = differ[:-1] & differ[1:]
    for some in (steady[:-1], differ[:-1]):
        rows = np.flatnonzero(some)
        if len(rows):
            row = int(rows[0])
            bit = int(some[row]).bit_length() - 1
            first, second = (int(rows_.levels[row]) >> bit & 1 for rows_ in pair)
            return row + pair[0].first, lines[bit], first, second
    return None


def _by_watch(one: Foretold, other: Foretold, lines: tuple[str, ...]) -> tuple[float, str, int, int] | None:
    """Seconds until a line keeps still at different levels for as long as a person may be early or late."""
    waits = np.arange(WATCH, SECONDS - 2 * WATCH, WATCH)
    for line in lines:
        levels = []
        for it in (one, other):
            ticks, shown = it.oscillator_hz / it.unit, it.lines[line]
            early, late = (
                np.searchsorted(shown.times, it.freed + (waits + shift) * ticks, side="right")
                for shift in (-WATCH, WATCH)
            )
            levels.append(np.where(early == late, shown.at(it.freed + waits * ticks), UNKNOWN))
        told = np.flatnonzero((levels[0] != UNKNOWN) & (levels[1] != UNKNOWN) & (levels[0] != levels[1]))
        if len(told):
            row = int(told[0])
            return float(waits[row]), line, int(levels[0][row]), int(levels[1][row])
    return None


def separates(
    made: Experiment, causes: tuple[Mishap, Mishap], it: Handling, teller: Foreteller, power_ups: int
) -> bool:
    """Whether the line is settled at its two levels by the two causes, from so many power-ups."""
    moves = made.actions[1:] if isinstance(made.actions[0], Restart) else made.actions
    sure = replace(teller, power_ups=power_ups, found={})
    pair = _foretold(causes, replace(it, then=moves), sure)
    if pair is None:
        return False
    for told, level in zip(pair, (made.first, made.second), strict=True):
        if int(told.lines[made.line].levels[-1]) != level:
            return False
    return True


def sentence(made: Experiment, first: Mishap, second: Mishap, board: Board) -> str:
    """The experiment in a person's words, from the last moves on."""
    moves = []
    for action in made.actions:
        match action:
            case Restart():
                moves.append("give the restart")
            case Set(levels):
                moves += [f"put {line} at {level}" for line, level in sorted(levels.items())]
            case Steps(count):
                moves.append(f"wait {count} step{'s' * (count > 1)}")
            case Seconds(seconds):
                moves.append(f"wait {seconds:g} s")
            case _:
                pass
    segment = board.display.get(made.line)
    seen = ("dark", "lit") if segment else ("0", "1")
    where = (
        f"segment {segment} ({made.line})"
        if segment and segment != "point"
        else f"the point ({made.line})"
        if segment
        else made.line
    )
    words = (
        f'{", ".join(moves)}, look at {where}: {seen[made.first]} means "{first.name}", '
        f'{seen[made.second]} means "{second.name}".'
    )
    return words[0].upper() + words[1:]
