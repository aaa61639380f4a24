"""`forelight show`: what the display should do, as the eye sees it."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from forelight.designs.catalogue import EmptySlotError
from forelight.designs.procedures.procedure import to_text
from forelight.sim.loops import Oscillation

from ..asking.facts import facts, obstacles, warnings
from ..asking.preview import Preview, below, drawn_pictures, opening, preview, still
from ..asking.question import Asked, Question, question
from ..asking.sight import flashes, told_to_scripts
from ..asking.signals import changes, reasons
from ..attach.report import reports
from ..boards.reader import load_board
from ..boards.roster import empty_slot
from ..terminal.output import console, emit_json, emit_words, show
from ..view.bits import lines
from ..view.display import glyphs_for
from ..view.flashing import Flashing, flashing
from ..view.levels import recent
from ..view.pictures import repeat
from ..view.stave import PLAIN, as_text
from ..view.warned import rates, warned

#: Columns of levels in the answer for scripts.
COLUMNS = 64


def run(
    asked: Asked,
    as_json: bool,
    *,
    speed: float,
    motion: bool | None,
    most: int,
    gate_delay: tuple[float, float] | None = None,
    watch: Sequence[str] = (),
    why: str | None = None,
    step: int | None = None,
    output: Path | None = None,
) -> int:
    """`motion` is True or False where the person insists, else None; `most` bounds the pictures in a row.

    `gate_delay` is the range in seconds by which the rate of a free-running loop is told. `watch` names signals of the
    source; `why` is an output or a signal that is to be explained, at the end of a `step` or of the run; `output` is a
    picture to be written instead.
    """
    if output is not None:
        from ..asking.picture import check_ending

        check_ending(output, "a picture")
    try:
        asking = question(asked)
    except EmptySlotError as empty:
        return _empty(asked.board, empty.slot, as_json)
    if why is not None:
        return _explain(asking, why, step, as_json)
    found = preview(asking, gate_delay, watch)
    golden = found.golden
    if output is not None:
        from ..asking.picture import write

        drawn = write(found, output, speed=speed, motion=motion is not False, most=most)
        if not as_json:
            emit_words(f"Wrote {output}: {drawn.title}, {drawn.where}. {drawn.caution}".rstrip())
    if as_json:
        emit_json(answer(found) | {"file": None if output is None else str(output)})
    if as_json or output is not None:
        return 0
    flash = flashing(golden, speed)
    screen = console()
    can_move = screen.is_terminal and not screen.is_dumb_terminal and motion is not False
    moving = can_move and (motion is True or not flash.too_much)
    show(*facts(asking), "")
    if aloud := [*warned(golden), *rates(golden, gate_delay)]:
        show(*aloud, "")
    if flash.too_much:
        show(caution(flash, held=can_move and not moving), "")
    glyphs = glyphs_for(sys.stdout.encoding)
    show(opening(asking), "")
    if moving:
        from ..asking.player import play

        play(found, speed, glyphs)
    else:
        show(*still(found, most, glyphs, screen.width))
    show("", *below(found, glyphs, screen.width))
    return 0


def _explain(asking: Question, name: str, step: int | None, as_json: bool) -> int:
    """Why an output or a signal is as it is."""
    answers = reasons(asking, asking.slot or 0)
    reason = answers.why(name, step)
    if as_json:
        emit_json(answers.answer(reason))
    else:
        show(*facts(asking)[:1], "", *answers.paragraphs(reason))
    return 0


def _empty(board_name: str, slot: int, as_json: bool) -> int:
    """An empty slot is an answer too."""
    board = load_board(board_name)
    says = empty_slot(board, slot)
    if as_json:
        outputs = f"{board.empty_outputs:08b}"
        emit_json({"board": board.name, "slot": slot, "empty": True, "output_levels": outputs, "says": says})
    else:
        show(says)
    return 0


def _range(loop: Oscillation, gate_delay: tuple[float, float] | None) -> dict[str, float] | None:
    """The least and the greatest rate of a free-running loop, where the delays of gates are known."""
    return dict(zip(("least", "most"), loop.frequency(*gate_delay), strict=True)) if gate_delay else None


def caution(flash: Flashing, *, held: bool) -> str:
    """The warning about flashing, and how to see it move all the same."""
    if held:
        return (
            f"Held still: {flash}. If you are sure that nobody is at risk, ask for --motion, or slow it down with "
            "--speed."
        )
    return f"Caution: {flash}. Mind who is watching at the bench."


def answer(found: Preview) -> dict[str, object]:
    """The same for scripts: times in seconds from the moment at which the slot is up."""
    asking, golden = found.asking, found.golden
    sheet, board, hz = asking.sheet, asking.board, golden.oscillator_hz
    sequence = drawn_pictures(golden, board)
    again = repeat(sequence, board.shown)
    table_rows = lines(golden)
    again_ticks = golden.facts.get("period_ticks")
    rows = recent(golden, found.lines, COLUMNS)
    light = found.light
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
        "do": [to_text(action) for action in asking.procedure.actions],
        "expect": asking.procedure.expect,
        "assumed": list(sheet.assumed),
        "warnings": list(warnings(asking)),
        "display": dict(board.display),
        "start_s": asking.start() / hz,
        "end_s": golden.end / hz,
        "outputs": [line.to_json() for line in table_rows],
        "unsettled": [line.name for line in table_rows if line.unsettled],
        "settling": vars(found.settling),
        "restarting": restart.answer() if (restart := asking.restarting()) else None,
        "start": golden.facts["start"],
        "period_s": None if again_ticks is None else int(again_ticks) / hz,
        "races": [race.to_json() for race in golden.races],
        "suspects": [race.to_json() for race in golden.suspects],
        "free_running": [
            {
                "nets": list(loop.nets),
                "places": list(loop.places),
                "gates": [loop.shortest, loop.longest],
                "range_hz": _range(loop, found.gate_delay),
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
        "repeats": None if again is None else {"first_picture": again[0], "period": again[1]},
        "attachments": [report.facts for report in reports(asking.sheet, golden)],
        "eye": told_to_scripts(found.sight, found.offered.code if found.offered else None, board),
        "mind": list(obstacles(asking)),
        "status": found.status(golden.end),
        "first_light": None
        if light is None
        else {"time_s": light.seconds, "step": light.step, "within_the_run": light.within},
        "levels": {
            "from_s": [tick / hz for tick in rows.bounds[:-1]],
            "to_s": rows.bounds[-1] / hz,
            "first_step": rows.first_step,
            "lines": {
                line: {"means": found.meanings.get(line), "marks": as_text(states, PLAIN)}
                for line, states in rows.rows.items()
            },
        },
        "watched": {} if found.watched is None else changes(found.watched, hz),
        "runs": [{"name": run.name, "do": list(run.do), "expect": run.expect} for run in sheet.runs],
        "flashes": flashes(flashing(golden)),
        "power_ups": golden.facts.get("power_ups"),
        "seed": asking.seed,
    }
