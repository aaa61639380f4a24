"""How far a prediction holds, in sentences: what settles and when, where it may begin, and which lines race."""

from __future__ import annotations

from collections.abc import Iterator

from ..bench.golden import Golden, Race
from ..bench.settling import Settling
from .words import hertz, ranges

#: Races that are told one by one.
MOST_RACES = 3


def told(golden: Golden, found: Settling) -> list[str]:
    """A paragraph each."""
    if golden.loops:
        return []  # `free_running` has said what cannot be known
    return [_settles(golden, found), *races(golden)]


def free_running(golden: Golden, delays: tuple[float, float] | None = None) -> Iterator[str]:
    """Loops that never rest, and how fast they may run with gates of these least and greatest delays in seconds."""
    for loop in golden.loops:
        what = str(loop).replace("wrapper.design.", "").replace("wrapper.", "")
        yield (
            f"Warning: a loop of {loop.longest} gates runs free: {what}. Nothing that it reaches can be foretold, and "
            "it takes current for as long as it runs."
        )
        if delays is None:
            yield "Say --gate-delay 0.1ns..2ns, with your own figures, to be told how fast it may run."
            continue
        low, high = (hertz(rate) for rate in loop.frequency(*delays))
        least, greatest = (f"{delay * 1e9:.4g}" for delay in delays)
        yield (
            f"With gates of {least} to {greatest} ns it runs at {low} to {high}, as a change goes round twice in a "
            "period. Pairs of inverters in a row were merged when the source was read: with more gates drawn it is "
            "slower in proportion."
        )


def _settles(golden: Golden, found: Settling) -> str:
    facts, hz = golden.facts, golden.oscillator_hz
    if found.anywhere:
        lasts, first = (int(facts[key]) / hz for key in ("period_ticks", "period_from_tick"))
        return (
            f"It may begin anywhere: from {first:.3f} s on it repeats itself every {_steps(facts['period_steps'])} "
            f"({lasts:.6g} s), and each of {facts['power_ups']} power-ups shows the same from another place on."
        )
    if found.steps is None:
        names, tried = ranges(found.never), f"{facts.get('power_ups', 'several')} power-ups"
        kept = [line for line in found.never if line not in found.raced]
        if not kept:
            return f"A race leaves {names} unsettled to the end: the chip may show either."
        whose = "The restart does not settle" if found.restarted else "Without a restart the power-up decides"
        longer = (
            ""
            if found.restarted or "step_line" not in facts
            else " A longer run may tell whether it repeats itself."
        )
        return f"{whose} {names}: {tried} did not agree to the end, so the chip may show either.{longer}"
    head = "All outputs are settled"
    if found.restarted:
        head = "The restart settles all outputs"
    when = f"{_steps(found.steps)} after it begins" if found.restarted else f"from step {found.steps} on"
    when = when if found.steps else "at once"
    return f"{head}, {when}: {_grounds(golden, found)}."


def _grounds(golden: Golden, found: Settling) -> str:
    """On what it rests."""
    if not found.sampled:
        return "that is proved for any power-up"
    count = int(golden.facts.get("power_ups", 0))
    share = f"; with 95 % confidence fewer than {300 / count:.2g} % of power-ups differ" if count > 3 else ""
    proved = f"{ranges(found.proved)} are proved, " if len(found.proved) > 1 else ""
    proved = f"{found.proved[0]} is proved, " if len(found.proved) == 1 else proved
    return f"{proved}{count} power-ups agree on {ranges(found.sampled)}{share}"


def _steps(count: object) -> str:
    return "1 step" if count == 1 else f"{count} steps"


def races(golden: Golden) -> Iterator[str]:
    """Which lines race, when, what hangs on it, and what to do."""
    for race in golden.races[:MOST_RACES]:
        yield _race(golden, race)
    more = len(golden.races) - MOST_RACES
    if more > 0:
        yield f"There {'is 1 more race' if more == 1 else f'are {more} more races'} like that."
    if golden.races:
        yield "Change inputs with the step clock off, or only while it stands still, and nothing races."


def _race(golden: Golden, race: Race) -> str:
    step = str(golden.facts.get("step_line", ""))
    names = [f"{line} (the step line)" if line in (step, "step") else line for line in race.lines]
    show = "shows" if len(race.outputs) == 1 else "show"
    return (
        f"At {race.tick / golden.oscillator_hz:.6f} s, step {race.step}, {', '.join(names[:-1])} and {names[-1]} move "
        f"in one update: what {ranges(race.outputs)} {show} then depends on which is first."
    )
