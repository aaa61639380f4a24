"""What the panel says of a live bench: each line of the chip with who drives it, the display, the status line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES, Datasheet
from forelight.designs.sheets.attachments import driven_lines
from forelight.sim.frozen import frozen

from ..bench.live import LiveBench
from ..bench.watch import Watch
from ..boards.divider import setting_word
from ..boards.profile import Board
from ..boards.roster import empty_slot
from ..capture.eye import SHAPES
from ..chip.routing import divided_line, routing
from ..golden.golden import Golden
from ..hand.switches import contact_of
from ..view.eye import BLENDED, FLICKERING, fastest, impressions, readable_codes
from ..view.pictures import since
from ..view.status import RUNNING, Status, sentences
from ..view.words import hertz
from .window import until

#: Presses are told for so long after their end.
RECENT_S = 3.0
#: Rows of the record, and updates of the design, that the status line looks at: a minute and a half at 3000 a second.
MOST_ROWS = 1 << 18
#: The eye is asked of the last second, and where less has passed, of no fewer steps than these.
LOOK_S, FEW_STEPS = 1.0, 64


@frozen
class LineNow:
    """One line of the chip: its name, its label on this board, its meaning in the datasheet, who drives it, its level.

    `level` is 0, 1 or None where it is unsettled; `source` is empty for outputs, which the design drives.
    """

    name: str
    label: str
    means: str
    source: str
    level: int | None


def meanings(sheet: Datasheet) -> dict[str, str]:
    """LineNow -> what the datasheet says of it, the roles of step and restart included."""
    roles = ((sheet.step, "step"), (sheet.restart, "restart"))
    found = {role.line: word for role, word in roles if role is not None}
    for line, said in sheet.lines.items():
        found[line] = said.means if line not in found else f"{found[line]}, {said.means}"
    return found


def lines_now(bench: LiveBench, golden: Golden, *, blind: bool = False) -> list[LineNow]:
    """The eight inputs, then the eight outputs, as the last row of a golden has them, with the selected design's names.

    `blind`: inputs as switched.
    """
    board, sheet = bench.board, bench.selected
    means = meanings(sheet) if sheet else {}
    table = routing(board, sheet) if sheet else tuple(range(len(INPUT_LINES)))
    remembered = driven_lines(sheet) if sheet else ()
    inputs = int(golden.inputs[-1]) if len(golden.inputs) else 0
    inputs = bench.standing.switches if blind else inputs
    outputs = int(golden.outputs[-1]) if len(golden.outputs) else 0
    settled = int(golden.settled[-1]) if len(golden.outputs) else 0
    found = []
    for bit, name in enumerate(INPUT_LINES):
        own = {8: "step", 9: "restart"}.get(table[bit], "")
        label = board.pins.get(own or name, own or name)
        source = "memory" if name in remembered else _source(bench, table[bit])
        found.append(LineNow(name, label, means.get(name, ""), source, inputs >> bit & 1))
    for bit, name in enumerate(OUTPUT_LINES):
        level = outputs >> bit & 1 if settled >> bit & 1 else None
        segment = board.display.get(name, "")
        said = means.get(name, f"segment {segment}" if segment else "")
        found.append(LineNow(name, board.pins.get(name, name), said, "", level))
    return found


def _source(bench: LiveBench, line: int) -> str:
    """Who drives a line of the board: `line` is its number in a routing."""
    stands, board = bench.standing, bench.board
    if stands.driven >> line & 1:
        return "outside"
    if stands.enable and line == divided_line(board):
        return "step clock" if stands.running else "step clock, still"
    if line >= len(INPUT_LINES):
        return f"switch at {stands.switches >> line & 1}"
    name = INPUT_LINES[line]
    if stands.buttons >> line & 1:
        return "button held"
    level = stands.switches >> line & 1
    return f"switch {contact_of(board, name, level) or f'at {level}'}"


def shown_on_display(bench: LiveBench, golden: Golden) -> str:
    """What the display shows at the end of a golden, in words for those who hear them."""
    wiring = bench.board.display
    if not wiring or not len(golden.outputs):
        return "no display"
    outputs, settled = int(golden.outputs[-1]), int(golden.settled[-1])
    levels = {segment: outputs >> int(line[1:]) & 1 for line, segment in wiring.items()}
    vague = sorted(segment for line, segment in wiring.items() if not settled >> int(line[1:]) & 1)
    if vague:
        return f"cannot be foretold ({', '.join(vague)} {'is' if len(vague) == 1 else 'are'} unsettled)"
    return _spoken(levels)


def _spoken(levels: Mapping[str, int]) -> str:
    lit = {segment for segment, level in levels.items() if level}
    point = " and the point" if "point" in lit else ""
    bars = lit - {"point"}
    if not bars:
        return "only the point" if point else "dark"
    found = character(bars)
    return f"{found}{point}" if found else f"segments {' '.join(sorted(bars))}{point}"


def character(bars: set[str]) -> str:
    """The character that these segments make, digits before letters; empty where they make none."""
    for name, shape in SHAPES.items():
        fixed, _, either = shape.partition("?")
        if name != "blank" and set(fixed) <= bars <= set(fixed) | set(either):
            return name
    return ""


def _latest(golden: Golden) -> Golden:
    """The last rows of a record; if no output moves in them, with the two between which one moved last."""
    first = len(golden.ticks) - MOST_ROWS
    if first <= 0:
        return golden
    rows, seen = np.arange(first, len(golden.ticks)), first
    while seen > 1 and bool((golden.outputs[seen:] == golden.outputs[-1]).all()):
        seen = max(1, seen - MOST_ROWS)
    moved = np.flatnonzero(golden.outputs[seen : first + 1] != golden.outputs[seen - 1 : first])
    if seen < first and len(moved):
        rows = np.concatenate(([seen + moved[-1] - 1, seen + moved[-1]], rows))
    columns = ("ticks", "steps", "inputs", "outputs", "proved", "sampled")
    return replace(golden, **{name: getattr(golden, name)[rows] for name in columns})


def status_of(bench: LiveBench, golden: Golden, at: int | None = None) -> list[str]:
    """Why the display does what it does now, sentence by sentence; or did `at` an earlier tick, where a golden ends."""
    slot = bench.standing.slot
    seat = bench.seat(slot)
    if seat is None:
        return [empty_slot(bench.board, slot)]
    found = []
    if slot != bench.slot:
        found.append(f"The selector stands on slot {slot}: {seat.datasheet.title}.")
    inside = bench.inside(MOST_ROWS)
    if bench.loops:
        return [*found, "A loop in the design runs free: what it reaches cannot be foretold."]
    if inside is not None and len(golden.ticks):
        tick = bench.now if at is None else at
        now = Watch(inside, _latest(golden)).status(tick, recent_s=RECENT_S)
        found += [*sentences(now), *_to_the_eye(bench.board, until(golden, tick), now)]
    if len(golden.outputs) and int(golden.settled[-1]) != 0xFF:
        found.append("? cannot be foretold: the power-up or a race decides.")
    return found


def _to_the_eye(board: Board, golden: Golden, now: Status) -> Iterator[str]:
    """What the eye makes of the last second where it cannot read that, and the step clock at which it can."""
    if now.clock != RUNNING or now.hz is None:
        return
    last = since(golden, max(int(golden.ticks[0]), golden.end - int(LOOK_S * golden.oscillator_hz)))
    if last.end < min(LOOK_S, FEW_STEPS / now.hz) * golden.oscillator_hz:
        return
    sight = impressions(last, board.shown)
    if sight.display.kind in (FLICKERING, BLENDED):
        best = fastest(board, readable_codes(board, now.hz, sight))
        slower = ""
        if best is not None:
            slower = f"; to read it take {setting_word(board)} {best}, {hertz(board.step_hz(best))}, or a slower one"
        yield f"To the eye: {sight.display.kind}{slower}."
