"""The recent levels of lines under their names: a column for each step, or for equal parts of the time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim.frozen import frozen
from forelight.sim.traces.trace import Trace
from rich.text import Text

from ..golden.golden import Golden
from .display import Glyphs
from .stave import MOVES, OPEN, StaveGlyphs, as_text, between
from .words import seconds

#: The share of the width that names and meanings may take.
_NAMES = 0.45


@frozen
class LevelRows:
    """Levels of lines over neighbouring columns of time.

    `bounds` are the ticks at which the columns begin, and the end; `first_step` is that of the first column where each
    column is a step, else None. `rows` maps a line to its state in each column, as `stave.between` has them.
    """

    bounds: tuple[int, ...]
    first_step: int | None
    rows: Mapping[str, Sequence[int]]


def recent(golden: Golden, lines: Sequence[str], columns: int, until: int | None = None) -> LevelRows:
    """The last `columns` columns before tick `until`: by default the end."""
    end = golden.end if until is None else max(until, 1)
    rises = np.flatnonzero(np.diff(golden.steps) > 0) + 1
    starts = np.concatenate(([0], golden.ticks[rises]))
    starts = starts[starts < end]
    stepped = len(starts) > 2
    bounds = (
        np.append(starts, end)[-columns - 1 :]
        if stepped
        else np.linspace(0, end, columns + 1).astype(np.int64)
    )
    first = (
        int(golden.steps[int(np.searchsorted(golden.ticks, bounds[0], side="right")) - 1])
        if stepped
        else None
    )
    return LevelRows(tuple(bounds.tolist()), first, {line: between(golden, line, bounds) for line in lines})


def signals(watched: Trace, bounds: Sequence[int], characters: StaveGlyphs) -> dict[str, str]:
    """Watched signals over the same columns: a character for each; of wider ones a row for each hexadecimal digit.

    A signal that changed several times in a column, or holds a bit there that is unsettled, has the marks of a line.
    """
    found: dict[str, str] = {}
    edges = np.array(bounds)
    for name, width in watched.widths.items():
        whole, unknown = watched.values[name], watched.unknown[name]
        fresh = np.ones(len(whole), bool)
        fresh[1:] = (whole[1:] != whole[:-1]) | (unknown[1:] != unknown[:-1])
        times, values, vague = watched.times[fresh], whole[fresh], unknown[fresh]
        last = np.maximum(np.searchsorted(times, edges[1:], side="left") - 1, 0)
        first = np.maximum(np.searchsorted(times, edges[:-1], side="right") - 1, 0)
        for low in reversed(range(0, width, 4)):
            high = min(low + 3, width - 1)
            marks = []
            for one, other in zip(last.tolist(), first.tolist(), strict=True):
                if int(vague[one]) >> low & 15:
                    marks.append(as_text([OPEN], characters))
                elif one - other > 1:
                    marks.append(as_text([MOVES], characters))
                else:
                    digit = int(values[one]) >> low & 15
                    marks.append(as_text([digit], characters) if width == 1 else f"{digit:X}")
            label = name if width <= 4 else f"{name}[{high}:{low}]" if high > low else f"{name}[{low}]"
            found[label] = "".join(marks)
    return found


def of_interest(golden: Golden, meanings: Mapping[str, str], step_line: str) -> list[str]:
    """The lines worth a row: those with a meaning, and those that move; but not a step line, which only ticks."""
    moved = [int(np.bitwise_or.reduce(column ^ column[0])) for column in (golden.inputs, golden.outputs)]
    moved[1] |= int(np.bitwise_or.reduce(~golden.settled))
    return [
        line
        for names, mask in zip((INPUT_LINES, OUTPUT_LINES), moved, strict=True)
        for bit, line in enumerate(names)
        if line != step_line and (line in meanings or mask >> bit & 1)
    ]


def room(lines: Sequence[str], meanings: Mapping[str, str], width: int) -> int:
    """How many columns of levels there is room for beside the names."""
    return max(1, width - 2 - _names_width(lines, meanings, width))


def drawn(
    found: LevelRows,
    meanings: Mapping[str, str],
    oscillator_hz: int,
    width: int,
    characters: StaveGlyphs,
    glyphs: Glyphs,
    more: Mapping[str, str] | None = None,
) -> list[Text]:
    """The levels as lines of text of at most `width` columns, under a heading that says what a column is.

    `more` are further rows as they are, by name.
    """
    rows = {line: as_text(states, characters) for line, states in found.rows.items()} | dict(more or {})
    wide = _names_width(list(rows), meanings, width)
    out = [Text(heading(found, oscillator_hz))]
    for line, text in rows.items():
        name = _cut(_name(line, meanings), wide, glyphs).ljust(wide)
        out.append(Text(f"{name}  {text[-(width - wide - 2) :]}", no_wrap=True, overflow="crop"))
    return out


def heading(found: LevelRows, oscillator_hz: int) -> str:
    """What a column of the levels is."""
    start, end = (seconds(found.bounds[at] / oscillator_hz) for at in (0, -1))
    count = len(found.bounds) - 1
    if found.first_step is None:
        part = seconds((found.bounds[-1] - found.bounds[0]) / oscillator_hz / count)
        return f"Levels from {start} to {end}, {part} a character:"
    return f"Levels from step {found.first_step} to step {found.first_step + count - 1}, a character each:"


def _name(line: str, meanings: Mapping[str, str]) -> str:
    return f"{line} {meanings[line]}" if line in meanings else line


def _names_width(lines: Sequence[str], meanings: Mapping[str, str], width: int) -> int:
    return min(max((len(_name(line, meanings)) for line in lines), default=0), int(width * _NAMES))


def _cut(name: str, wide: int, glyphs: Glyphs) -> str:
    return name if len(name) <= wide else name[: wide - len(glyphs.more)].rstrip() + glyphs.more
