"""`forelight show`: what the display should do, as the eye sees it."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace

from forelight.designs.catalogue import EmptySlotError
from forelight.designs.procedures.procedure import Restart, to_text
from rich.console import Group, RenderableType
from rich.live import Live
from rich.text import Text

from ..attach.report import paragraphs, reports
from ..bench.settling import Settling
from ..boards.reader import load_board
from ..boards.roster import empty_slot
from ..boards.segments import LARGE, SMALL
from ..golden.golden import Golden
from ..view.bits import LineRow, lines, table
from ..view.brightness import seen
from ..view.display import Glyphs, glyphs_for, legend
from ..view.filmstrip import strip
from ..view.flashing import Flashing, flashing
from ..view.live import RATE, face, plan
from ..view.pictures import Picture, pictures, repeat, since, steps_at
from ..view.words import ranges
from .facts import facts, warnings
from .output import console, emit_json, show
from .question import Asked, Question, question
from .settled import free_running, told

#: Rows of the moving preview beside the display itself.
ROWS_BESIDE = 4
#: Columns that the table of levels needs with segments and meanings.
FOR_ALL_COLUMNS = 60


def run(
    asked: Asked,
    as_json: bool,
    *,
    speed: float,
    motion: bool | None,
    most: int,
    gate_delay: tuple[float, float] | None = None,
) -> int:
    """`motion` is True or False where the person insists, else None; `most` bounds the pictures in a row.

    `gate_delay` is the range in seconds by which the rate of a free-running loop is told.
    """
    try:
        asking = question(asked)
    except EmptySlotError as empty:
        return _empty(asked.board, empty.slot, as_json)
    whole = asking.golden()
    golden, settling = since(whole, asking.start()), asking.settling(whole)
    if as_json:
        emit_json(answer(asking, golden, settling, gate_delay))
        return 0
    flash = flashing(golden, speed)
    screen = console()
    can_move = screen.is_terminal and not screen.is_dumb_terminal and motion is not False
    moving = can_move and (motion is True or not flash.too_much)
    show(*facts(asking), "")
    if golden.loops:
        show(*free_running(golden, gate_delay), "")
    if flash.too_much:
        show(caution(flash, held=can_move and not moving), "")
    glyphs = glyphs_for(sys.stdout.encoding)
    show(opening(asking), "")
    if moving:
        play(asking, golden, speed, glyphs)
    else:
        show(*still(asking, golden, most, glyphs))
    settled = told(golden, settling, restart=asking.sheet.restart is not None)
    show("", *levels(asking, golden, glyphs), *settled)
    show(*paragraphs(reports(asking.sheet, golden)))
    return 0


def _empty(board_name: str, slot: int, as_json: bool) -> int:
    """An empty slot is an answer too."""
    board = load_board(board_name)
    says = empty_slot(board, slot)
    if as_json:
        outputs = f"{board.empty_outputs:08b}"
        emit_json({"board": board.name, "slot": slot, "empty": True, "outputs": outputs, "says": says})
    else:
        show(says)
    return 0


def wired(asking: Question) -> list[int]:
    """The outputs that the display shows; all where there is none."""
    return sorted(int(line[1:]) for line in asking.board.display) or list(range(8))


def opening(asking: Question) -> str:
    """What the time 0 of the pictures is."""
    first = asking.procedure.actions[: asking.setting_up]
    if first and isinstance(first[-1], Restart):
        return "From the moment at which the restart is let go:"
    return "From the moment at which the slot is set up:"


def key(sequence: Sequence[Picture], asking: Question, glyphs: Glyphs) -> Iterator[str]:
    """What the characters of a drawing mean."""
    shown = {picture.shades[line] for picture in sequence for line in wired(asking)}
    if asking.board.display:
        yield legend(list(shown), glyphs)
    marks = ["o7 first"]
    if any(lamp not in (0, 1, None) for picture in sequence for lamp in picture.lamps):
        marks.append("~ changes faster than the eye follows")
    if not asking.board.display and any(None in picture.lamps for picture in sequence):
        marks.append(f"{glyphs.unsettled} unsettled")
    yield "Eight levels: " + ", ".join(marks)


def still(asking: Question, golden: Golden, most: int, glyphs: Glyphs) -> Iterator[RenderableType]:
    """Pictures in a row, and what their characters mean."""
    sequence = pictures(golden, seen(golden), wired(asking))
    wiring, width = asking.board.display, console().width
    yield from strip(sequence, wiring, golden.oscillator_hz, width=width, limit=most, glyphs=glyphs)
    yield from key(sequence, asking, glyphs)


def levels(asking: Question, golden: Golden, glyphs: Glyphs) -> Iterator[RenderableType]:
    """What a probe on each output would tell, and how far that holds."""
    found = lines(golden)
    meanings = {name: said.means for name, said in asking.sheet.lines.items() if name.startswith("o")}
    if console().width >= FOR_ALL_COLUMNS:
        yield table(found, asking.board.display, meanings, glyphs)
    else:
        yield table(found, {}, {}, glyphs)
        yield from (f"{name}: {means}" for name, means in meanings.items())
    yield ""
    yield from unsettled(found)


def unsettled(found: Sequence[LineRow]) -> Iterator[str]:
    """The outputs that the prediction leaves open."""
    shares: dict[str, list[str]] = {}
    for line in found:
        if line.unsettled:
            some = f"{line.unsettled:.0%}" if line.unsettled >= 0.01 else "less than 1%"
            share = "all the time" if line.unsettled == 1 else f"{some} of the time"
            shares.setdefault(share, []).append(line.name)
    if shares:
        names = (f"{ranges(lines)} {share}" for share, lines in shares.items())
        yield f"Unsettled: {'; '.join(names)}."


def caution(flash: Flashing, *, held: bool) -> str:
    """The warning about flashing, and how to see it move all the same."""
    if held:
        return (
            f"Held still: {flash}. If you are sure that nobody is at risk, ask for --motion, or slow it down with "
            "--speed."
        )
    return f"Caution: {flash}. Mind who is watching at the bench."


def play(asking: Question, golden: Golden, speed: float, glyphs: Glyphs) -> None:
    """The moving preview, in real time or `speed` times as fast."""
    screen = console()
    shots = plan(golden, speed)
    length = golden.end / golden.oscillator_hz
    size = LARGE if screen.height >= LARGE.height + ROWS_BESIDE else SMALL
    notes = [Text(note) for note in key(pictures(golden, seen(golden, speed), wired(asking)), asking, glyphs)]

    def moment(picture: Picture, now: float) -> RenderableType:
        clock = f"{now:.1f} s of {length:.1f} s"
        picture = replace(picture, step=steps_at(golden, int(now * golden.oscillator_hz)))
        return Group(*face(picture, asking.board.display, clock, size=size, glyphs=glyphs), *notes)

    begun = time.monotonic()
    with Live(moment(shots[0][1], 0), console=screen, auto_refresh=False) as live:
        upcoming = 0
        while True:
            passed = time.monotonic() - begun
            while upcoming + 1 < len(shots) and shots[upcoming + 1][0] <= passed:
                upcoming += 1
            live.update(moment(shots[upcoming][1], min(passed * speed, length)), refresh=True)
            if passed * speed >= length:
                return
            time.sleep(max(0.0, 1 / RATE - (time.monotonic() - begun - passed)))


def answer(
    asking: Question, golden: Golden, settling: Settling, gate_delay: tuple[float, float] | None = None
) -> dict[str, object]:
    """The same for scripts: times in seconds from the moment at which the slot is up."""
    sheet, board, hz = asking.sheet, asking.board, golden.oscillator_hz
    sequence = pictures(golden, seen(golden), wired(asking))
    again = repeat(sequence, wired(asking))
    found = lines(golden)
    flash = flashing(golden)
    again_ticks = golden.facts.get("period_ticks")
    return {
        "board": board.name,
        "slot": asking.slot,
        "empty": False,
        "name": sheet.name,
        "title": sheet.title,
        "creator": sheet.creator,
        "description": sheet.description,
        "strap_code": asking.code,
        "step_hz": None if asking.code is None else float(board.step_hz(asking.code)),
        "wanted_hz": sheet.step.wanted_hz if sheet.step else None,
        "procedure": [to_text(action) for action in asking.procedure.actions],
        "expect": asking.procedure.expect,
        "assumed": list(sheet.assumed),
        "warnings": list(warnings(asking)),
        "display": dict(board.display),
        "start_s": asking.start() / hz,
        "end_s": golden.end / hz,
        "outputs": [vars(line) for line in found],
        "unsettled": [line.name for line in found if line.unsettled],
        "settling": vars(settling),
        "start": golden.facts["start"],
        "period_s": None if again_ticks is None else int(again_ticks) / hz,
        "races": [vars(race) for race in golden.races],
        "suspects": [vars(race) for race in golden.suspects],
        "free_running": [
            {
                "nets": list(loop.nets),
                "places": list(loop.places),
                "gates": [loop.shortest, loop.longest],
                "hz": list(loop.frequency(*gate_delay)) if gate_delay else None,
            }
            for loop in golden.loops
        ],
        "pictures": [
            {
                "time_s": picture.start / hz,
                "lasts_s": picture.lasts / hz,
                "step": picture.step,
                "brightness": list(picture.lamps),
            }
            for picture in sequence
        ],
        "repeats": None if again is None else {"first": again[0], "period": again[1]},
        "attachments": [report.facts for report in reports(asking.sheet, golden)],
        "flashes": {"in_a_second": flash.flashes, "line": flash.line, "too_much": flash.too_much},
        "power_ups": golden.facts.get("power_ups"),
        "seed": asking.seed,
    }
