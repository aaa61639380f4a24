"""A strip of displays with their times, for paper, pipes and people who want to look in peace."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from forelight.sim.frozen import frozen
from rich.text import Text

from ..boards.segments import SMALL
from .display import Glyphs, draw
from .pictures import Picture, display_lamps, level_text, repeat

GUTTER = 2
#: Columns of a picture without a display: the eight levels.


@frozen
class Scale:
    """Oscillator ticks to printed seconds, with as many digits as the pictures need."""

    oscillator_hz: int
    digits: int = 3

    def text(self, ticks: int) -> str:
        return f"{ticks / self.oscillator_hz:.{self.digits}f} s"


def scale(sequence: Sequence[Picture], oscillator_hz: int, step_s: float | None = None) -> Scale:
    """Three, six or nine digits: as many as a step of `step_s` needs, or, without steps, the shortest picture."""
    if step_s is not None:
        return Scale(oscillator_hz, next((digits for digits in (3, 6) if step_s >= 10 * 10**-digits), 9))
    shortest = min(picture.lasts for picture in sequence) / oscillator_hz
    return Scale(oscillator_hz, next((digits for digits in (3, 6) if shortest >= 10**-digits), 9))


def strip(
    sequence: Sequence[Picture],
    wiring: Mapping[str, str],
    oscillator_hz: int,
    *,
    width: int,
    limit: int,
    glyphs: Glyphs,
    step_s: float | None = None,
) -> list[Text]:
    """Lay pictures out in rows of at most `width` columns, each under its time and above its step and levels.

    A sequence that repeats is drawn once; of a longer one the first `limit` pictures are drawn, and a last
    line says what was left out. `wiring` maps output lines to segments; without it the levels stand alone.
    Times have as many digits as a step of `step_s` seconds needs.
    """
    lines_drawn = sorted(int(line[1:]) for line in wiring) or list(range(8))
    again = repeat(sequence, lines_drawn)
    shown = sequence[: min(limit, sum(again) if again else len(sequence))]
    clock = scale(sequence, oscillator_hz, step_s)
    frames = [_frame(picture, wiring, clock, glyphs) for picture in shown]
    out = side_by_side(frames, width)
    note = goes_on(sequence, len(shown), again, clock, glyphs.more)
    return [*out, Text(), Text(note)] if note else out


def _frame(picture: Picture, wiring: Mapping[str, str], clock: Scale, glyphs: Glyphs) -> list[Text]:
    display = draw(display_lamps(picture.lamps, wiring), SMALL, glyphs) if wiring else []
    return [
        Text(clock.text(picture.start)),
        *display,
        Text(f"step {picture.step}"),
        Text(level_text(picture.lamps, glyphs)),
    ]


def side_by_side(frames: Sequence[Sequence[Text]], width: int) -> list[Text]:
    """Frames of as many lines each in rows of at most `width` columns, an empty line between rows."""
    wide = max(line.cell_len for frame in frames for line in frame)
    across = max(1, (width + GUTTER) // (wide + GUTTER))
    out: list[Text] = []
    for start in range(0, len(frames), across):
        if out:
            out.append(Text())
        out.extend(_row(frames[start : start + across], wide))
    return out


def _row(frames: Sequence[Sequence[Text]], wide: int) -> list[Text]:
    rows = []
    for parts in zip(*frames, strict=True):
        row = Text(no_wrap=True, overflow="crop")
        for number, part in enumerate(parts):
            row.append_text(part)
            if number < len(parts) - 1:
                row.append(" " * (wide + GUTTER - part.cell_len))
        rows.append(row)
    return rows


def goes_on(
    sequence: Sequence[Picture],
    shown: int,
    again: tuple[int, int] | None,
    clock: Scale,
    more: str = "",
) -> str:
    """How a sequence goes on after `shown` pictures; `again` is what `repeat` found, `more` a sign for the rest."""
    end = clock.text(sequence[-1].start + sequence[-1].lasts)
    if again and shown == sum(again):
        first, period = again
        every = clock.text(sequence[first + period].start - sequence[first].start)
        return f"Then again as from {clock.text(sequence[first].start)}, every {every}, to the end at {end}."
    if shown < len(sequence):
        rest = len(sequence) - shown
        return f"{more} and {rest} more picture{'s' if rest > 1 else ''} to the end at {end}.".lstrip()
    return f"The run ends at {end}."
