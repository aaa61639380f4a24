"""`forelight wall`: the displays of all slots at once, at true speed."""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from forelight.designs.procedures.actions import HAND_HZ
from forelight.sim.errors import ForelightError, UsageError
from forelight.sim.files import write_whole
from forelight.sim.plain_text import listed
from rich.console import Group
from rich.live import Live
from rich.text import Text

from ..asking.picture import check_ending, check_length
from ..asking.preview import Preview, preview
from ..asking.question import USUAL_STEPS, Asked, Question, question
from ..asking.sight import flashes, told_to_scripts
from ..boards.divider import setting_word
from ..boards.profile import Board
from ..boards.reader import load_board
from ..boards.roster import find
from ..terminal.cores import for_each
from ..terminal.keys import keys
from ..terminal.output import complain, console, emit_json, emit_words, show
from ..view.display import Glyphs, glyphs_for, legend
from ..view.flashing import Flashing, flashing
from ..view.limits import DANGER
from ..view.live import RATE, plan
from ..view.motion import over_and_over
from ..view.wall import Pane, across, as_html, as_svg, drawn, rows, together

UNREADABLE = 2
DOTTED = "A dotted bar is unsettled: the chip may show either."
HINT = "space: stop and go on   left, right: other slots   q: leave"
SHORT_HINT = "space: stop  arrows: others  q: leave"


def run(asked: Asked, *, runs: bool, still: bool, output: Path | None, as_json: bool) -> int:
    """Foretell all slots over all cores, each for itself, and play them, write them to `output`, or print them.

    `runs` asks for the first run of each datasheet instead of a while after the restart. A slot that cannot be read
    gets a complaint; the others are shown all the same.
    """
    if output is not None:
        check_ending(output, "a wall")
    board = load_board(asked.board)
    slots = sorted(board.slots)
    if not slots:
        raise UsageError(f"{board.name} holds no design", remedy="fill its roster, or name another board")
    wanted = [(replace(asked, slot=str(slot)), runs) for slot in slots]
    found = list(for_each(pane, wanted, "Displays"))
    panes = [one for one in found if isinstance(one, Pane)]
    complaints = [one for one in found if isinstance(one, ForelightError)]
    if as_json:
        emit_json(answer(board, panes))
    elif output is not None:
        _write(board, panes, output)
    else:
        _play(board, panes, still)
    for complaint in complaints:
        complain(f"forelight: {complaint}")
    return UNREADABLE if complaints else 0


def pane(wanted: tuple[Asked, bool]) -> Pane | ForelightError:
    """One slot as asked for, or why it cannot be shown; with True under the first run of its datasheet."""
    asked, runs = wanted
    try:
        sheet = find(load_board(asked.board), asked.slot).datasheet
        if runs and sheet.runs:
            asked = replace(asked, run_name=sheet.runs[0].name, seconds=None)
        return _pane(preview(_bounded(asked)))
    except ForelightError as error:
        return error


def _bounded(asked: Asked) -> Question:
    """What was asked, but no more steps than are usual: a fast step clock fills no evening."""
    asking = question(asked)
    code = asking.code
    hz = (asked.hz or HAND_HZ) if code is None else asking.board.step_hz(code)
    if asked.seconds and asking.sheet.step is not None and asked.seconds * hz > USUAL_STEPS:
        return question(replace(asked, seconds=None, steps=USUAL_STEPS))
    return asking


def _pane(found: Preview) -> Pane:
    golden, asking = found.golden, found.asking
    return Pane(
        slot=asking.slot or 0,
        name=asking.sheet.name,
        title=asking.sheet.title,
        shots=tuple(plan(golden)),
        lasts_s=golden.end / golden.oscillator_hz,
        sight=found.sight,
        once=flashing(golden),
        again=over_and_over(golden),
        code=found.offered.code if found.offered else None,
    )


def held(panes: Sequence[Pane], *, again: bool = False) -> dict[int, Flashing]:
    """The slots that stay still, each with how much it would flash: all of them where the rest flashes as a whole."""
    flashes = {one.slot: one.again if again else one.once for one in panes}
    still = {slot: flash for slot, flash in flashes.items() if flash.too_much}
    rest = together([one for one in panes if one.slot not in still])
    return (
        still if not rest.too_much else flashes | {one.slot: rest for one in panes if one.slot not in still}
    )


def _write(board: Board, panes: Sequence[Pane], output: Path) -> None:
    check_length(max(one.lasts_s for one in panes))
    still = held(panes, again=True)
    title = heading(board, panes)
    if output.suffix == ".svg":
        text = as_svg(title, panes, board.display, list(still))
    else:
        said = [*words(board, panes), DOTTED, *cautions(panes, still)]
        text = as_html(title, panes, board.display, list(still), said)
    write_whole(output, text)
    emit_words(f"Wrote {output}: the displays of {len(panes)} slots of {board.name}.")
    for caution in cautions(panes, still):
        emit_words(caution)


def _play(board: Board, panes: Sequence[Pane], still: bool) -> None:
    """Play all, and end with the moment at which that was left, or the last one, and what is to be said of it."""
    screen, glyphs = console(), glyphs_for(sys.stdout.encoding)
    show(heading(board, panes), "")
    second, stay = max((one.lasts_s for one in panes), default=0.0), dict[int, Flashing]()
    if screen.is_terminal and not screen.is_dumb_terminal and not still:
        stay = held(panes)
        show(*cautions(panes, stay))
        second = _move(Moving(board, panes, list(stay), glyphs))
    show(*drawn(panes, second, board.display, width=screen.width, glyphs=glyphs, held=list(stay)), "")
    shades = {shade for one in panes for shade in one.at(0 if one.slot in stay else second).shades}
    show(legend(list(shades), glyphs), "", *words(board, panes))


class Moving:
    """Where the wall is: a moment in seconds, going on or not, and which panes are on the screen."""

    def __init__(self, board: Board, panes: Sequence[Pane], still: Sequence[int], glyphs: Glyphs) -> None:
        self.board, self.panes, self.still, self.glyphs = board, panes, still, glyphs
        self.second, self.going, self.first = 0.0, True, 0
        self.end = max((one.lasts_s for one in panes), default=0.0)

    def press(self, name: str | None, fit: int) -> bool:
        """Do what a key asks for, where `fit` panes fit on the screen; False if it is to leave."""
        if name == "space":
            self.going = not self.going
        elif name == "right" and self.first + fit < len(self.panes):
            self.first += fit
        elif name == "left":
            self.first = max(0, self.first - fit)
        return name != "q"

    def drawing(self, width: int, fit: int) -> Group:
        """The screen as it is now."""
        shown = self.panes[self.first : self.first + fit]
        picture = drawn(
            shown, self.second, self.board.display, width=width, glyphs=self.glyphs, held=self.still
        )
        some = f"slots {shown[0].slot} to {shown[-1].slot}" if len(shown) > 1 else f"slot {shown[0].slot}"
        part = "" if len(shown) == len(self.panes) else f", {some}"
        status = f"{self.second:.1f} s of {self.end:.1f} s{part}{'' if self.going else ', stopped'}"
        hint = HINT if width > len(HINT) else SHORT_HINT
        return Group(*picture, Text(), Text(status), Text(hint, style="dim", no_wrap=True, overflow="crop"))


def _move(wall: Moving) -> float:
    """Play to the end, or until a key leaves it; returns the moment of that."""
    screen = console()
    with keys() as wait, Live(console=screen, auto_refresh=False, transient=True) as live:
        then = time.monotonic()
        while wall.second < wall.end or not wall.going:
            width = screen.width
            fit = across(width) * max(1, (screen.height - 3) // rows(wall.board.display))
            live.update(wall.drawing(width, fit), refresh=True)
            pressed = wait(1 / RATE)
            now = time.monotonic()
            if wall.going:
                wall.second = min(wall.second + now - then, wall.end)
            then = now
            if not wall.press(pressed, fit):
                break
    return wall.second


def heading(board: Board, panes: Sequence[Pane]) -> str:
    return f"{board.title} ({board.name}): {len(panes)} displays, each from when its slot is up."


def words(board: Board, panes: Sequence[Pane]) -> Iterator[str]:
    """What the eye makes of them, and how to read what it cannot."""
    kinds = Counter(one.kind for one in panes)
    yield f"To the eye: {', '.join(f'{count} {kind}' for kind, count in kinds.most_common())}."
    offered: dict[int, list[str]] = {}
    for one in panes:
        if one.code is not None:
            offered.setdefault(one.code, []).append(f"{one.name} ({one.slot})")
    if offered:
        codes = "; ".join(f"{code} for {listed(names)}" for code, names in offered.items())
        yield f"To read what flickers or blends, take {setting_word(board)} {codes}; or a slower one."


def cautions(panes: Sequence[Pane], still: dict[int, Flashing]) -> Iterator[str]:
    """Which are held still, and why."""
    names = [
        f"{one.slot} {one.name} ({still[one.slot].flashes:.3g} times)" for one in panes if one.slot in still
    ]
    if names:
        yield f"Held still, as they flash too often in a second: {', '.join(names)}. Caution: {DANGER}."


def answer(board: Board, panes: Sequence[Pane]) -> dict[str, object]:
    """The same for scripts; times in seconds from when each slot is up."""
    still = held(panes)
    return {
        "board": board.name,
        "display": dict(board.display),
        "slots": [_plain(one, board) | {"held": one.slot in still} for one in panes],
    }


def _plain(one: Pane, board: Board) -> dict[str, object]:
    ends = [*(when for when, _ in one.shots[1:]), one.lasts_s]
    return {
        "slot": one.slot,
        "name": one.name,
        "title": one.title,
        "end_s": one.lasts_s,
        "eye": told_to_scripts(one.sight, one.code, board),
        "flashes": flashes(one.once),
        "pictures": [
            {"time_s": when, "lasts_s": end - when, "step": shot.step, "brightness": list(shot.lamps)}
            for (when, shot), end in zip(one.shots, ends, strict=True)
        ],
    }
