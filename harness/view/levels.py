"""The recent levels of lines, a row of characters for each: a column for each step, or for equal parts of the time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from numpy.typing import NDArray
from rich.text import Text

from ..golden.golden import Golden
from .display import Glyphs, UNSETTLED_STYLE
from .words import seconds

#: Columns of a line's name and meaning at most, as a share of the width.
_NAMES = 0.45
#: What a column says beside 0 and 1: unsettled, and changed several times.
VAGUE, BUSY = "?", "~"


@dataclass(frozen=True)
class LevelRows:
    """Levels of lines over neighbouring columns of time.

    `bounds` are the ticks at which the columns begin, and the end; `first_step` and `last_step` those of the first and the
    last column where each is a step, else None. `rows` maps a line to a character for each column: its level at the
    column's end, `?` where that is unsettled, `~` where it changed several times meanwhile.
    """

    bounds: tuple[int, ...]
    first_step: int | None
    last_step: int | None
    rows: Mapping[str, str]


def recent(golden: Golden, lines: Sequence[str], columns: int, until: int | None = None) -> LevelRows:
    """The last `columns` columns before tick `until`: by default the end."""
    end = golden.end if until is None else max(until, 1)
    rises = np.flatnonzero(np.diff(golden.steps) > 0) + 1
    starts = np.concatenate(([0], golden.ticks[rises]))
    starts = starts[starts < end]
    stepped = len(starts) > 2
    if stepped:
        bounds = np.append(starts, end)[-columns - 1 :]
        first = len(starts) - (len(bounds) - 1)
    else:
        bounds, first = np.linspace(0, end, columns + 1).astype(np.int64), 0
    begun = int(golden.steps[int(np.searchsorted(golden.ticks, bounds[0], side="right")) - 1])
    count = len(bounds) - 1
    return LevelRows(
        tuple(bounds.tolist()),
        begun if stepped else None,
        begun + count - 1 if stepped else None,
        {line: _row(*_column(golden, line), bounds) for line in lines},
    )


def _column(golden: Golden, line: str) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
    """When a line changes, and to what: 0, 1, or 2 for unsettled."""
    if line in INPUT_LINES:
        levels = golden.inputs >> np.uint8(INPUT_LINES.index(line)) & np.uint8(1)
    else:
        bit = np.uint8(OUTPUT_LINES.index(line))
        settled = golden.settled >> bit & np.uint8(1)
        levels = np.where(settled == 1, golden.outputs >> bit & np.uint8(1), np.uint8(2))
    fresh = np.ones(len(levels), bool)
    fresh[1:] = levels[1:] != levels[:-1]
    return golden.ticks[fresh], levels[fresh]


def _row(ticks: NDArray[np.int64], levels: NDArray[np.uint8], bounds: NDArray[np.int64]) -> str:
    ends = np.searchsorted(ticks, bounds[1:], side="left") - 1
    begins = np.searchsorted(ticks, bounds[:-1], side="right") - 1
    marks = np.array(["0", "1", VAGUE])[levels[np.maximum(ends, 0)]]
    return "".join(np.where(ends - begins > 1, BUSY, marks).tolist())


def of_interest(golden: Golden, meanings: Mapping[str, str], step_line: str) -> list[str]:
    """The lines worth a row: those with a meaning, and those that move; but not a step line, which only ticks."""
    moved = {
        line: bool(np.any(np.diff(column >> np.uint8(bit) & np.uint8(1))))
        for names, column in ((INPUT_LINES, golden.inputs), (OUTPUT_LINES, golden.outputs))
        for bit, line in enumerate(names)
    }
    vague = int(np.bitwise_or.reduce(~golden.settled))
    moved |= {line: True for bit, line in enumerate(OUTPUT_LINES) if vague >> bit & 1}
    return [
        line for line in (*INPUT_LINES, *OUTPUT_LINES) if line != step_line and (line in meanings or moved[line])
    ]


def rows(
    found: LevelRows, meanings: Mapping[str, str], oscillator_hz: int, glyphs: Glyphs, width: int
) -> list[Text]:
    """The levels as lines of text of at most `width` columns, under a heading that says what a column is."""
    names = {line: f"{line}  {meanings[line]}" if line in meanings else line for line in found.rows}
    wide = min(max(map(len, names.values()), default=0), int(width * _NAMES))
    out = [Text(heading(found, oscillator_hz))]
    for line, levels in found.rows.items():
        text = Text(_cut(names[line], wide, glyphs).ljust(wide) + "  ", no_wrap=True, overflow="crop")
        for mark in levels:
            text.append(_drawn(mark, glyphs), UNSETTLED_STYLE if mark == VAGUE else "")
        out.append(text)
    return out


def room(meanings: Mapping[str, str], lines: Sequence[str], width: int) -> int:
    """How many columns of levels there is room for beside the names."""
    wide = max((len(line) + 2 + len(meanings.get(line, "")) for line in lines), default=0)
    return max(1, width - 2 - min(wide, int(width * _NAMES)))


def heading(found: LevelRows, oscillator_hz: int) -> str:
    """What a column of the levels is."""
    start, end = (seconds(found.bounds[at] / oscillator_hz) for at in (0, -1))
    if found.first_step is None:
        part = seconds((found.bounds[-1] - found.bounds[0]) / oscillator_hz / (len(found.bounds) - 1))
        return f"Levels from {start} to {end}, {part} a character:"
    if found.first_step == found.last_step:
        return f"Levels in step {found.first_step}:"
    return f"Levels in steps {found.first_step} to {found.last_step}, {start} to {end}, a character each:"


def _cut(name: str, wide: int, glyphs: Glyphs) -> str:
    return name if len(name) <= wide else name[: wide - len(glyphs.more)].rstrip() + glyphs.more


def _drawn(mark: str, glyphs: Glyphs) -> str:
    return {"0": glyphs.low, "1": glyphs.high, VAGUE: glyphs.unsettled}.get(mark, mark)
