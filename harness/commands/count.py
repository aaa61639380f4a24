"""`forelight count`: does a count taken by eye agree with the predicted rate?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf

import numpy as np
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen
from forelight.sim.recurrence import periods
from numpy.typing import NDArray
from rich.text import Text

from ..asking.question import Asked, Question, question
from ..boards.divider import codes_between, setting_word
from ..golden.golden import Golden
from ..survey.keeping import Entry
from ..terminal.output import emit_json, show
from ..verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE
from ..view.words import either, hertz
from . import noting
from .check import EXIT_CODES

#: A count may be off by one: the counting error of every counter (Hewlett-Packard,
#: Application Note 200, Fundamentals of Electronic Counters; from memory).
COUNT_ERROR = 1
#: How far off each press of the stopwatch may be, in seconds (common practice, no source).
REACTION_S = 0.25
#: A count that leaves open a factor of this decides nothing.
VAGUE = 2.0
#: Steps that are foretold to find the loop; the longer run only where the shorter one does not come round.
STEPS = (1 << 15, 1 << 18)
ROUNDS = 3  # that the prediction goes round at least


@frozen
class Count:
    """What a count says: rates in steps a second, the uncertainty taken at its worst."""

    loops: int
    seconds: float
    steps_per_loop: int

    @property
    def hz(self) -> float:
        return self.loops * self.steps_per_loop / self.seconds

    @property
    def low_hz(self) -> float:
        return (self.loops - COUNT_ERROR) * self.steps_per_loop / (self.seconds + 2 * REACTION_S)

    @property
    def high_hz(self) -> float:
        return (self.loops + COUNT_ERROR) * self.steps_per_loop / (self.seconds - 2 * REACTION_S)

    def fits(self, hz: float) -> bool:
        return self.low_hz <= hz <= self.high_hz

    @property
    def factor(self) -> float:
        """The highest rate that fits over the lowest."""
        return self.high_hz / self.low_hz if self.low_hz else inf

    def enough(self) -> int:
        """Loops after which the factor is below `VAGUE` at this pace, whatever the reaction time."""
        pace = self.seconds / self.loops
        return next(
            n for n in range(1, 1 << 20) if replace(self, loops=n, seconds=max(n * pace, 1.0)).factor < VAGUE
        )

    def verdict(self, hz: float) -> str:
        if not self.fits(hz):
            return DIFFERS
        return AGREES if self.factor < VAGUE else INCONCLUSIVE


def run(
    asked: Asked,
    loops: int,
    seconds: float,
    steps_per_loop: int | None,
    as_json: bool,
    entry: Entry | None = None,
) -> int:
    """Print what the count says, and write it into a notebook if `entry` says so; returns the verdict's exit code."""
    if entry:
        entry.ready()
    if seconds <= 2 * REACTION_S:
        raise UsageError(
            f"found a count over {seconds:g} s, no longer than a reaction at both ends",
            remedy="count for some ten seconds, better for a minute",
        )
    asking = question(replace(asked, steps=STEPS[0]))
    if asking.sheet.step is None:
        raise UsageError(
            f"{asking.sheet.name} has no step clock: nothing in it goes round", remedy="count another"
        )
    if asking.code is None:
        raise UsageError(
            f"{asking.sheet.name} is stepped by hand on {asking.board.name}: there is no rate to compare with",
            remedy="name a board or a run whose divider steps it",
        )
    found = steps_per_loop or _loop(asked)
    count = Count(loops, seconds, found)
    expected = float(asking.board.step_hz(asking.code))
    codes = codes_between(asking.board, count.low_hz, count.high_hz)
    kind, said = count.verdict(expected), answer(asking, count, expected, codes)
    if not as_json:
        show(*paragraphs(asking, count, expected, codes, given=steps_per_loop is not None))
    if entry:
        counted = f"The count means {count.hz:.4g} steps a second, and {hertz(expected)} is foretold."
        told = noting.Reply("count", said | {"reasons": [counted]}, kind)
        said["survey"] = noting.note(entry, asked, asking, asking.golden(), told)
        if not as_json:
            show("", noting.said(entry))
    if as_json:
        emit_json(said)
    return EXIT_CODES[kind]


def answer(asking: Question, count: Count, expected: float, codes: Sequence[range]) -> dict[str, object]:
    """For scripts; codes by the first and the last of neighbours that all fit."""
    return {
        "verdict": count.verdict(expected),
        "name": asking.sheet.name,
        "board": asking.board.name,
        "slot": asking.slot,
        "strap_code": asking.code,
        "loops": count.loops,
        "seconds": count.seconds,
        "steps_per_loop": count.steps_per_loop,
        "expected_hz": expected,
        "hz": count.hz,
        "low_hz": count.low_hz,
        "high_hz": count.high_hz,
        "expected_loops": expected * count.seconds / count.steps_per_loop,
        "code_ranges": [[run[0], run[-1]] for run in codes],
    }


def paragraphs(
    asking: Question, count: Count, expected: float, codes: Sequence[range], *, given: bool
) -> Iterator[Text | str]:
    """The verdict first, then what it rests on, then what to do."""
    kind = count.verdict(expected)
    words = {AGREES: "Agrees", DIFFERS: "Differs", INCONCLUSIVE: "Inconclusive"}
    due = expected * count.seconds / count.steps_per_loop
    loops = "1 loop" if count.loops == 1 else f"{count.loops} loops"
    foretold = f"{due:.4g}" if due < 10_000 else f"{due:.0f}"
    yield Text(words[kind], style="bold").append(
        f": {loops} of {asking.sheet.title} in {count.seconds:g} s; {foretold} are foretold.",
        style="not bold",
    )
    source = "as you said" if given else "as foretold"
    yield f"A loop is {count.steps_per_loop} steps, {source}. The count means {count.hz:.4g} steps a second."
    yield (
        f"With one loop more or less, and {REACTION_S:g} s of reaction at both ends, that is {count.low_hz:.4g} to "
        f"{count.high_hz:.4g} Hz; {setting_word(asking.board)} {asking.code} gives {hertz(expected)}."
    )
    setting = setting_word(asking.board)
    if codes:
        if len(codes) > 1 or len(codes[0]) > 1:
            setting = setting.replace("strap code", "strap codes").replace("setting", "settings")
        yield f"{setting[0].upper()}{setting[1:]} {_listed(codes)} would fit the count."
    else:
        yield f"No {setting} of {asking.board.name} fits the count."
    if kind == INCONCLUSIVE:
        yield ""
        yield (
            f"Such a count leaves open a factor of {VAGUE:g} in the rate. Count {count.enough()} loops or more."
        )
    if kind == DIFFERS:
        yield ""
        yield (
            "Look at the switches as they stood when the step clock was switched on; and whether what you took for a "
            f"loop is one of {count.steps_per_loop} steps (--steps-per-loop says otherwise)."
        )


def _listed(codes: Sequence[range]) -> str:
    return either([f"{run[0]} to {run[-1]}" if len(run) > 1 else str(run[0]) for run in codes])


# The loop


def _loop(asked: Asked) -> int:
    """Steps after which the outputs of the prediction come round."""
    longest, found = 0, None
    for steps in STEPS:
        asking = question(replace(asked, steps=steps))
        shown = by_step(asking.golden(), asking.start())
        if len(shown) == longest:
            break  # a run of the datasheet is as long as it is
        longest, found = len(shown), period(shown)
        if found and found > 1:
            return found
    if found == 1:
        raise UsageError(
            f"the outputs of {asking.sheet.name} keep still in the end: nothing goes round",
            remedy="set its inputs (--set), take another run (--run), or say what you counted with --steps-per-loop N",
        )
    raise UsageError(
        f"the outputs of {asking.sheet.name} do not come round within {longest} steps",
        remedy="say what you counted with --steps-per-loop N",
    )


def by_step(golden: Golden, start: int) -> NDArray[np.uint8]:
    """What the settled outputs show at the end of each step, from the first that begins after tick `start`."""
    ends = np.flatnonzero(np.diff(golden.steps) > 0)
    ends = ends[golden.ticks[ends] >= start]
    settled = np.bitwise_and.reduce(golden.settled[ends], initial=0xFF) if len(ends) else np.uint8(0)
    shown: NDArray[np.uint8] = golden.outputs[ends] & settled
    return shown


def period(shown: NDArray[np.uint8]) -> int | None:
    """After how many steps the later half comes round, `ROUNDS` times at least; None where it does not."""
    return next((length for length, first in periods(shown[len(shown) // 2 :], ROUNDS) if not first), None)
