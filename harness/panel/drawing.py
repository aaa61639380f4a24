"""The parts of the panel as text: the lines of the chip with their traces, the display, the list of actions."""

from __future__ import annotations

import re
from collections.abc import Sequence

from forelight.designs.procedures.procedure import Action, Seconds
from rich.text import Text

from ..attach.report import Report
from ..boards.profile import Board
from ..boards.segments import LARGE, SMALL
from ..view.display import UNICODE, Glyphs, Lamp, draw
from ..view.pictures import display_lamps
from ..view.stave import StaveGlyphs, as_text
from .meaning import said_as
from .reading import LineNow
from .window import RecentLevels

#: Columns of the words of a line, its name in the datasheet and who drives it, by the columns that there are at least.
_WORDS = ((75, 24, 13), (44, 12, 13), (0, 9, 0))
#: Rows stand close: a high level is filled, so that it does not touch the low one of the row above.
_BARS = StaveGlyphs("▁▇▒?")


def line_rows(lines: Sequence[LineNow], found: RecentLevels, width: int, chosen: int) -> Text:
    """A row for each line: label, name, meaning, who drives it, level, trace; a gap between inputs and outputs."""
    label = max(len(line.label) for line in lines)
    means, source = _words(width)
    out = Text(no_wrap=True, overflow="crop")
    for number, line in enumerate(lines):
        if number:
            out.append("\n\n" if number == 8 else "\n")
        level = "?" if line.level is None else str(line.level)
        row = Text()
        row.append(">" if number == chosen else " ", "bold")
        row.append(f"{line.label:<{label}} ")
        row.append(f"{line.name} ", "dim")
        row.append(f"{_cut(line.means, means):<{means}} ")
        if source:
            row.append(f"{line.source or 'the design':<{source}} ", "" if line.source else "dim")
        row.append(level, "bold reverse" if line.level else "bold")
        row.append(" ")
        row.append(as_text(found.rows[line.name], _BARS))
        out.append(row)
    return out


def trace_width(lines: Sequence[LineNow], width: int) -> int:
    """How many columns of a trace there is room for."""
    label = max(len(line.label) for line in lines)
    means, source = _words(width)
    return max(4, width - (label + 2 + 3 + means + 1 + source + bool(source) + 2) - 1)


def _words(width: int) -> tuple[int, int]:
    """Columns of a line's meaning, and of who drives it; on the narrowest screen its level comes before that."""
    return next((means, source) for least, means, source in _WORDS if width >= least)


def display(board: Board, lamps: Sequence[Lamp], *, large: bool, glyphs: Glyphs = UNICODE) -> Text:
    """The display with the wiring of this board; the eight levels where there is none."""
    if not board.display:
        levels = " ".join("?" if lamp is None else f"{lamp:.0f}" for lamp in reversed(lamps))
        return Text(f"o7 to o0: {levels}")
    drawn = draw(display_lamps(lamps, board.display), LARGE if large else SMALL, glyphs)
    # In the terminal's own ink, which stands out on light ground and on dark: the characters tell how bright it is.
    out = Text("\n".join(line.plain for line in drawn))
    for unlit in re.finditer(re.escape(glyphs.unlit), out.plain):
        out.stylize("dim", *unlit.span())
    return out


def done(actions: Sequence[Action], before: int, height: int) -> Text:
    """The last of what was done, with its numbers."""
    if not actions:
        return Text(
            f"Nothing yet.\nThe slot was brought up in {before} action{'s' if before > 1 else ''}.", "dim"
        )
    first = max(0, len(actions) - height)
    rows = (f"{number + 1:>3} {_listed(action)}" for number, action in enumerate(actions) if number >= first)
    return Text("\n".join(rows), no_wrap=True, overflow="ellipsis")


def _listed(action: Action) -> str:
    """An action in the list; a wait that grew with time is rounded."""
    return f"wait {action.seconds:.4g} s" if isinstance(action, Seconds) else said_as(action)


def attachments(reports: Sequence[Report], height: int) -> Text:
    """What is wired to the lines, and the last of what each of them makes of these."""
    out = Text(overflow="ellipsis")
    share = max(1, height // max(1, len(reports)) - 1)
    for number, report in enumerate(reports):
        out.append("\n" if number else "")
        out.append(report.heading, "dim")
        for line in report.lines[-share:]:
            out.append(f"\n{line}")
    return out


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1].rstrip() + UNICODE.more
