"""Wiring faults: leads to the inputs, and clips on the outputs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

from ...capture.record import Capture
from ...hand.leads import Lead, other_leads
from .mishap import CLIPPED, Change, Clip, Handling, Mishap


def causes(it: Handling, capture: Capture) -> Iterator[Mishap]:
    """All single wiring faults; `clips.py` finds clips in any order."""
    for n in range(8):
        for level in (0, 1):
            yield Mishap(
                "input stuck",
                f"i{n} stuck at {level}",
                f"The pin of i{n} stays at {level}, whatever its switch does.",
                f"Measure the pin of i{n} while you move its switch, and look for a loose lead or a short.",
                _leads({n: Lead(n, level=level)}),
            )
        if f"i{n}" not in it.board.pulls:
            for other in (m for m in (n - 1, n + 1) if 0 <= m < 8):
                yield Mishap(
                    "input open",
                    f"i{n} open, as i{other}",
                    f"The lead to i{n} is open: nothing pulls the pin, and it does as i{other} beside it does.",
                    f"Push the lead of i{n} home at both ends, or measure from the switch to the pin.",
                    _leads({n: Lead(other)}),
                )
    for a, b in combinations(range(8), 2):
        yield Mishap(
            "inputs swapped",
            f"i{a} and i{b} swapped",
            f"Inputs i{a} and i{b} were taken for each other: their leads are swapped, or their switches were.",
            f"Change the leads of i{a} and i{b} over; or, if it was their switches, run it again and mind which is "
            "which.",
            _leads({a: Lead(b), b: Lead(a)}),
        )
    recorded = [n for n in range(8) if f"o{n}" in capture.lines]
    for n in recorded:
        for level in (0, 1):
            yield output_stuck(n, level)
        yield output_inverted(n)
    yield Mishap(
        "all outputs inverted",
        "all outputs inverted",
        "All outputs are upside down: 1 was recorded for 0, or lit was taken for dark.",
        "Look for inverting buffers, a display that is lit by a 0, or a setting of the instrument.",
        clips({n: Clip(n, inverted=True) for n in recorded}),
    )
    for a, b in combinations(range(8), 2):
        if a in recorded or b in recorded:
            yield outputs_swapped(a, b)
            for wins in (0, 1):
                yield Mishap(
                    "outputs shorted",
                    f"o{a} and o{b} shorted, {wins} wins",
                    f"Outputs o{a} and o{b} touch each other: both show {wins} where they should differ.",
                    f"Switch the board off and look for a bridge between o{a} and o{b}; two outputs that fight can be "
                    "damaged, so let nothing run until it is gone.",
                    clips({a: Clip(a, other=b, wins=wins), b: Clip(a, other=b, wins=wins)}),
                )
    yield Mishap(
        "clip the wrong way round",
        "clip the wrong way round",
        "The probe clip is on the wrong way round: channel 0 shows o7, and channel 7 shows o0.",
        "Turn the clip round.",
        clips({n: Clip(7 - n) for n in range(8)}),
    )
    for by in range(1, 8):
        yield Mishap(
            "clip in another order",
            f"clip {by} on",
            f"The probe clip sits {by} pin{'s' * (by > 1)} too far on: channel 0 shows o{by}.",
            "Put the clip on so that channel 0 is on o0.",
            clips({n: Clip((n + by) % 8) for n in range(8)}),
        )


def output_stuck(n: int, level: int) -> Mishap:
    """The channel of an output stays at a level."""
    return Mishap(
        "output stuck",
        f"o{n} stuck at {level}",
        f"The channel of o{n} stays at {level}, whatever the design does.",
        f"Put the clip of o{n} on another output: if it still shows {level}, the lead or the channel is "
        f"broken, else the pin of o{n}.",
        clips({n: Clip(n, level=level)}),
    )


def output_inverted(n: int) -> Mishap:
    """The channel of an output is upside down."""
    return Mishap(
        "output inverted",
        f"o{n} inverted",
        f"The channel of o{n} is upside down: it shows 1 for 0 and 0 for 1.",
        f"Look for an inverting buffer, or a setting, in the channel of o{n}.",
        clips({n: Clip(n, inverted=True)}),
    )


def outputs_swapped(a: int, b: int) -> Mishap:
    """The channels of two outputs are in each other's place."""
    return Mishap(
        "outputs swapped",
        f"o{a} and o{b} swapped",
        f"The clips of o{a} and o{b} are swapped.",
        f"Change the clips of o{a} and o{b} over.",
        clips({a: Clip(b), b: Clip(a)}),
    )


def _leads(changes: dict[int, Lead]) -> Change:
    return lambda it: replace(it, leads=other_leads(it.leads, changes))


def clips(changes: dict[int, Clip]) -> Change:
    """The change that puts other clips on some channels."""
    return lambda it: replace(it, clips=tuple(changes.get(n, clip) for n, clip in enumerate(CLIPPED)))
