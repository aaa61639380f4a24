"""How far a prediction holds, in sentences: what settles and when, where it may begin, and which lines race."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from forelight.sim.plain_text import listed

from ..golden.golden import Golden, Race
from ..view.words import ranges, seconds

if TYPE_CHECKING:
    from ..bench.restarting import Restarting
    from ..bench.settling import Settling

#: Races that are told one by one.
MOST_RACES = 3


def told(golden: Golden, found: Settling, restart: Restarting | None) -> list[str]:
    """A paragraph each; `restart` is what the restart alone does, of a design that has one."""
    # Of loops `free_running` has said what cannot be known.
    settled = [] if golden.loops else settles(golden, found, restart)
    return [*settled, *undefined(golden), *left_open(golden), *races(golden)]


def undefined(golden: Golden) -> Iterator[str]:
    """What the source leaves open and outputs are unsettled for."""
    if "undefined" in golden.facts:
        yield (
            f"The source leaves a value open, and whoever makes the chip may choose it: {golden.facts['undefined']}. "
            "What hangs on that is unsettled."
        )


def from_the_source(golden: Golden) -> Iterator[str]:
    """What the reader of the source found odd."""
    if "warnings" in golden.facts:
        yield f"Warning from the source: {golden.facts['warnings']}."


def left_open(golden: Golden) -> Iterator[str]:
    """What no proof was tried of."""
    if "left_open" in golden.facts:
        yield f"Proof goes only so far here: {golden.facts['left_open']}."


def settles(golden: Golden, found: Settling, restart: Restarting | None) -> Iterator[str]:
    """Whether the restart settles the design, and what this run adds: when outputs settle, and on what that rests."""
    if found.restarted and restart is not None:
        yield str(restart)
        proved = found.steps is not None and not found.sampled
        if proved and restart.shown:
            yield "What came before the restart in this run happened to settle that; at another rate it may not."
        elif proved and restart.reached:
            yield "In this run no output depends on that."
        if proved:
            return
    yield _in_this_run(golden, found, restart)


def _in_this_run(golden: Golden, found: Settling, restart: Restarting | None) -> str:
    """Whether the outputs settle in this run, when, and on what that rests."""
    facts, hz = golden.facts, golden.oscillator_hz
    if found.anywhere:
        lasts, first = (int(facts[key]) / hz for key in ("period_ticks", "period_from_tick"))
        return (
            f"It may begin anywhere: from {seconds(first)} on it repeats itself every {_steps(facts['period_steps'])} "
            f"({lasts:.6g} s), and each of {facts['power_ups']} power-ups shows the same from another place on."
        )
    if found.never:
        return _never(golden, found, restart)
    if found.again:
        are = "is" if len(found.again) == 1 else "are"
        return f"In this run {ranges(found.again)} {are} settled for some time, and then unsettled again."
    if found.restarted:
        when = (
            f"{_steps(found.steps)} after the restart begins" if found.steps else "as soon as it is restarted"
        )
        return f"In this run all outputs are settled, {when}: {_grounds(golden, found)}."
    when = f"from step {found.steps} on" if found.steps else "at once"
    return f"All outputs are settled, {when}: {_grounds(golden, found)}."


def _never(golden: Golden, found: Settling, restart: Restarting | None) -> str:
    """Of outputs that are unsettled at the end."""
    names, tried = ranges(found.never), f"{golden.facts.get('power_ups', 'several')} power-ups"
    if set(found.never) <= set(found.raced):
        what = "A glitch" if any(len(race.lines) == 1 for race in golden.races) else "A race"
        return f"{what} leaves {names} unsettled to the end: the chip may show either."
    hint = ""
    if restart is not None and not found.restarted:
        hint = " A procedure that begins with restart may settle them."
    elif not found.restarted and "step_line" in golden.facts:
        hint = " A longer run may tell whether it repeats itself."
    what = f"The power-up decides {names}"
    if found.restarted:
        what = f"In this run {names} {'is' if len(found.never) == 1 else 'are'} unsettled"
    return f"{what}: {tried} did not agree to the end, so the chip may show either.{hint}"


def _grounds(golden: Golden, found: Settling) -> str:
    """On what it rests."""
    if not found.sampled:
        return "that is proved for any power-up"
    count = int(golden.facts.get("power_ups", 0))
    share = f"; with 95 % confidence fewer than {300 / count:.2g} % of power-ups differ" if count > 3 else ""
    if count == 1:
        return f"only 1 power-up was tried, and others may show something else on {ranges(found.sampled)}"
    proved = f"{ranges(found.proved)} are proved, " if len(found.proved) > 1 else ""
    proved = f"{found.proved[0]} is proved, " if len(found.proved) == 1 else proved
    return f"{proved}{count} power-ups agree on {ranges(found.sampled)}{share}"


def _steps(count: object) -> str:
    return "1 step" if count == 1 else f"{count} steps"


def races(golden: Golden) -> Iterator[str]:
    """Which lines race, when, what hangs on it, and what to do; those that only the proof suspects come last."""
    for tell, found in ((_race, golden.races), (_suspect, golden.suspects)):
        for race in found[:MOST_RACES]:
            yield f"{_when(golden, race)}, {tell(golden, race)}"
        more = len(found) - MOST_RACES
        if more > 0:
            yield f"There {'is' if more == 1 else 'are'} {more} more like that."
    moved = [race.lines for race in (*golden.races, *golden.suspects)]
    stepped = [any(_is_step(golden, line) for line in lines) for lines in moved if len(lines) > 1]
    if any(stepped):
        yield "Change inputs with the step clock off, or only while it stands still, and nothing races."
    if not all(stepped):
        yield "Change one input at a time, and nothing races."
    if any(len(lines) == 1 for lines in moved):
        yield "No order of moves helps against a glitch: see at the bench whether it comes out the same every time."


def _when(golden: Golden, race: Race) -> str:
    time = race.tick / golden.oscillator_hz
    if time < 0:
        return "While the slot is brought up"
    return f"At {seconds(time, 6)}, step {race.step}"


def _race(golden: Golden, race: Race) -> str:
    show = "shows" if len(race.outputs) == 1 else "show"
    if len(race.lines) == 1:
        return (
            f"{_moved(golden, race)}: what {ranges(race.outputs)} {show} then depends on a glitch on its way."
        )
    return f"{_moved(golden, race)}: what {ranges(race.outputs)} {show} then depends on which is first."


def _suspect(golden: Golden, race: Race) -> str:
    """A race, or the glitch of one line, that sampling has not seen to matter."""
    show = "shows" if len(race.outputs) == 1 else "show"
    alone, count = len(race.lines) == 1, golden.facts.get("power_ups", "several")
    what = "a glitch on its way" if alone else "which is first"
    tried = "without glitches" if alone else "in orders by chance"
    agreed = f", though {count} power-ups, {tried}, agreed" if count != 1 else ""
    return (
        f"{_moved(golden, race)}, and {what} may decide what {ranges(race.outputs)} {show} then. "
        f"No proof rules it out{agreed}."
    )


def _moved(golden: Golden, race: Race) -> str:
    names = [f"{line} (the step line)" if _is_step(golden, line) else line for line in race.lines]
    if len(names) == 1:
        return f"{names[0]} moves"
    return f"{listed(names)} move in one update"


def _is_step(golden: Golden, line: str) -> bool:
    return line in (golden.facts.get("step_line"), "step")
