"""The moving preview on a terminal, with keys: q leaves it, space stops it, the arrows go a step on and back."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from rich.console import Group, RenderableType
from rich.live import Live
from rich.text import Text

from ..boards.segments import LARGE, SMALL
from ..terminal.keys import keys
from ..terminal.output import console, show
from ..view.display import Glyphs
from ..view.levels import drawn, recent, room
from ..view.live import RATE, face, plan
from ..view.pictures import steps_at
from .preview import Preview, drawn_pictures, key, stave_glyphs

#: Rows that the moving preview needs beside a large display: time, key to the drawing, status, keys.
ROWS_BESIDE = 8
#: Columns from which on the length of the whole run is told.
FOR_THE_WHOLE = 60
#: A press is told for so long after it has ended.
RECENT_S = 5.0
HINT = "space: stop and go on   left, right: a step back, a step on   q: leave"
SHORT_HINT = "space: stop   arrows: a step   q: leave"


class Player:
    """Where the preview is, in ticks of its golden; it moves with time unless it is stopped."""

    def __init__(self, found: Preview, speed: float) -> None:
        self.found, self.speed = found, speed
        golden = found.golden
        self.at, self.going = 0.0, True
        rises = np.flatnonzero(np.diff(golden.steps) > 0) + 1
        self.marks = [0, *golden.ticks[rises].tolist(), golden.end]

    @property
    def ended(self) -> bool:
        return self.going and self.at >= self.found.golden.end

    def pass_time(self, seconds: float) -> None:
        if self.going:
            golden = self.found.golden
            self.at = min(self.at + seconds * self.speed * golden.oscillator_hz, golden.end)

    def press(self, name: str | None) -> bool:
        """Do what a key asks for; False if it is to leave."""
        if name == "q":
            return False
        if name == "space":
            self.going = not self.going
        elif name in ("left", "right"):
            self.going = False
            before = [mark for mark in self.marks if mark < self.at]
            after = [mark for mark in self.marks if mark > self.at]
            self.at = (
                before[-1]
                if name == "left" and before
                else after[0]
                if name == "right" and after
                else self.at
            )
        return True


def play(found: Preview, speed: float, glyphs: Glyphs) -> None:
    """Play it in real time or `speed` times as fast, to its end or until a key leaves it: that picture stays."""
    screen, player = console(), Player(found, speed)
    draw = _drawing(found, speed, glyphs)
    with keys() as wait, Live(draw(player, True), console=screen, auto_refresh=False, transient=True) as live:
        then = time.monotonic()
        while not player.ended:
            pressed = wait(1 / RATE)
            now = time.monotonic()
            player.pass_time(now - then)
            then = now
            if not player.press(pressed):
                break
            live.update(draw(player, True), refresh=True)
    show(draw(player, False))


def _drawing(found: Preview, speed: float, glyphs: Glyphs) -> Callable[[Player, bool], RenderableType]:
    """What draws a player: all of it while it is playing, and else what will stay on the screen."""
    screen, golden, asking = console(), found.golden, found.asking
    shots = plan(golden, speed)
    times = np.array([when * speed * golden.oscillator_hz for when, _ in shots])
    length = golden.end / golden.oscillator_hz
    size = LARGE if screen.height >= LARGE.height + ROWS_BESIDE else SMALL
    notes = [Text(note) for note in key(drawn_pictures(golden, asking.board, speed), asking, glyphs)]
    hint = Text(HINT if screen.width > len(HINT) else SHORT_HINT, style="dim", no_wrap=True, overflow="crop")
    wide = screen.width - 1

    def draw(player: Player, playing: bool) -> RenderableType:
        tick = int(player.at)
        picture = shots[max(0, int(np.searchsorted(times, tick, side="right")) - 1)][1]
        picture = replace(picture, step=steps_at(golden, min(tick, golden.end - 1)))
        whole = f" of {length:.1f} s" if screen.width >= FOR_THE_WHOLE else ""
        clock = f"{tick / golden.oscillator_hz:.1f} s{whole}{'' if player.going else ', stopped'}"
        top = [*face(picture, asking.board.display, clock, size=size, glyphs=glyphs), *notes]
        if not playing:
            return Group(*top)
        top.append(Text(" ".join(found.status(tick, RECENT_S))))
        room_left = screen.height - 1 - sum(len(part.wrap(screen, screen.width)) for part in (*top, hint))
        return Group(*top, *_levels(found, tick, wide, room_left, glyphs), hint)

    return draw


def _levels(found: Preview, tick: int, width: int, height: int, glyphs: Glyphs) -> list[Text]:
    """As many rows of recent levels as there is room for, the outputs before the inputs where there is little."""
    lines = found.lines
    if len(lines) > height - 2:
        lines = sorted(sorted(lines, key=lambda line: line[0] != "o")[: max(height - 2, 0)])
    if not lines:
        return []
    golden = found.golden
    # A step that begins at this very tick is in the picture, so it has its column.
    shown = recent(golden, lines, room(lines, found.meanings, width), min(tick + 1, golden.end))
    return drawn(
        shown,
        found.meanings,
        golden.oscillator_hz,
        width,
        stave_glyphs(glyphs),
        glyphs,
        found.signals(shown, glyphs),
    )
