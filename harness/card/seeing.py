"""The pictures to expect, each with its time, its step and the task that is being done, and what may be anything."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Procedure

from ..attach.report import reports
from ..boards.profile import Board
from ..golden.golden import Golden
from ..vet.expectations import in_words
from ..view.bits import LineRow, lines
from ..view.brightness import seen
from ..view.display import ASCII
from ..view.eye import BLENDED, FLICKERING, fastest, impressions, readable_codes
from ..view.filmstrip import goes_on, scale
from ..view.pictures import level_text, pictures, repeat
from ..view.words import hertz, ranges
from .leaf import Block, Sentences, Shot, Shots

#: Pictures on one card.
MOST_SHOTS = 10
#: Lines of what an attachment tells.
MOST_TOLD = 6


def sights(
    board: Board,
    sheet: Datasheet,
    golden: Golden,
    begins: Sequence[tuple[int, str]],
    procedure: Procedure,
    code: int | None,
) -> tuple[Block, ...]:
    """`golden` runs from the moment at which the slot is up, and so do the ticks at which tasks begin.

    `code` is the strap code by whose steps alone the run goes; None where it waits for anything else.
    """
    wired = sorted(int(line[1:]) for line in board.display) or list(range(8))
    sequence = pictures(golden, seen(golden), wired)
    again = repeat(sequence, wired)
    shown = sequence[: min(MOST_SHOTS, sum(again) if again else len(sequence))]
    # The last picture is cut short by the end of the run; that needs no digits.
    clock = scale(shown[:-1] or shown, golden.oscillator_hz)
    latency = int(golden.facts.get("latency_ticks", 0))
    starts = [tick + latency for tick, _ in begins]
    tasks = {number for _, number in begins}
    spelled = len(board.display) < len(OUTPUT_LINES)
    shots = []
    for picture in shown:
        words = [clock.text(picture.start), *([f"step {picture.step}"] if sheet.step else [])]
        if len(tasks) > 1:
            words.append(f"task {begins[max(bisect_right(starts, picture.start) - 1, 0)][1]}")
        shots.append(Shot(picture, (*words, *([level_text(picture.lamps, ASCII)] if spelled else []))))
    run = next((one for one in sheet.runs if one.name == procedure.name), None)
    held = in_words(run.expectations, stepped=sheet.step is not None) if run else ()
    told = Sentences((*_sentences(golden, procedure.expect), *held, *_eye(board, golden, wired, code)))
    attached = Sentences(tuple(_attached(sheet, golden)))
    note = goes_on(sequence, len(shown), again, clock) + (" Levels: o7 first." if spelled else "")
    return (
        *([told] if told.said else []),
        Shots(tuple(shots), dict(board.display), note),
        *([attached] if attached.said else []),
    )


def _sentences(golden: Golden, expect: str) -> Iterator[str]:
    if expect:
        yield f"Its author expects: {expect}."
    vague = [line for line in lines(golden) if line.unsettled]
    if vague:
        always = [line.name for line in vague if line.unsettled == 1]
        sometimes = [line for line in vague if line.unsettled < 1]
        parts = [f"{ranges(always)} all the time"] if always else []
        parts += [f"{line.name} for {_share(line)} of the time" for line in sometimes]
        yield f"May be anything: {', '.join(parts)}. A ? marks it below."


def _eye(board: Board, golden: Golden, wired: Sequence[int], code: int | None) -> Iterator[str]:
    """How the eye takes the display, where that is no plain reading, and which strap codes make it one."""
    found = impressions(golden, wired)
    kind = found.display.kind
    if kind in (FLICKERING, BLENDED):
        why = (
            "its patterns pass too fast to be read"
            if kind == FLICKERING
            else "it changes too fast to be seen to change"
        )
        better = None if code is None else fastest(board, readable_codes(board, code, found))
        remedy = (
            ""
            if better is None
            else f"; at strap code {better}, {hertz(board.step_hz(better))}, it can be read"
        )
        yield f"To the eye the display is {kind}: {why}{remedy}."


def _share(line: LineRow) -> str:
    return f"{line.unsettled:.0%}" if line.unsettled >= 0.01 else "less than 1%"


def _attached(sheet: Datasheet, golden: Golden) -> Iterator[str]:
    for report in reports(sheet, golden):
        told = [line for line in report.lines if line.strip() and "forelight" not in line]
        more = f"; and {len(told) - MOST_TOLD} lines more" if len(told) > MOST_TOLD else ""
        said = " / ".join(told[:MOST_TOLD])
        yield f"{report.heading}{': ' + said if said else ''}{more}."
