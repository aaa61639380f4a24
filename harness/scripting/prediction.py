"""A golden as programs and notebooks want it: arrays by step, moments, and pictures of itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from html import escape
from pathlib import Path
from typing import Any, SupportsIndex

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen
from numpy.typing import NDArray

from ..boards.profile import Board
from ..capture.eye import as_character
from ..golden.golden import Golden
from ..golden.write import to_csv, write_golden
from ..view.brightness import seen
from ..view.filmstrip import scale
from ..view.ink import figure
from ..view.pictures import display_lamps, pictures, repeat, since
from ..view.stave import columns, shapes
from ..view.words import seconds

#: Pictures in a notebook, and the size of its traces, in millimetres.
MOST_PICTURES, TRACE_MM, ROW_MM, NAME_MM, COLUMNS = 12, 110.0, 5.0, 34.0, 440


@frozen
class Moment:
    """The outputs at one time: `outputs` and the mask `settled` (bit 0 is `o0`), and what the display shows.

    `shown` is a character with or without its point, `blank`, `?` or the lit bars in brackets; `seconds` and `step`
    are counted from when the slot was up.
    """

    step: int
    seconds: float
    outputs: int
    settled: int
    shown: str

    @property
    def levels(self) -> str:
        """`o7` first: 0, 1, or x where unsettled."""
        return "".join(str(self.outputs >> n & 1) if self.settled >> n & 1 else "x" for n in range(7, -1, -1))


@frozen
class Prediction(Golden):
    """A golden with the board that it is for, and the tick `start` at which the slot was up.

    Steps and seconds are counted from there; the columns of the golden itself from when the power came on.
    """

    profile: Board | None = None
    start: int = 0
    means: Mapping[str, str] = field(default_factory=dict)

    @property
    def up(self) -> Golden:
        """The golden from the moment at which the slot is up."""
        return since(self, self.start)

    def _rows(self) -> tuple[Golden, NDArray[np.int64]]:
        """The golden from there, and its row at the end of each step; where there are no steps, every row."""
        golden = self.up
        if "step_line" not in golden.facts:
            return golden, np.arange(len(golden.ticks))
        count = int(golden.steps[-1]) + 1
        return golden, np.searchsorted(golden.steps, np.arange(count), side="right") - 1

    def per_step(self) -> np.ma.MaskedArray[Any, Any]:
        """The outputs at the end of each step as numbers (uint8), from step 0; masked where a bit is unsettled.

        For plain logic, which has no steps, at each change.
        """
        golden, rows = self._rows()
        return np.ma.MaskedArray(golden.outputs[rows], golden.settled[rows] != 0xFF)

    @property
    def bits(self) -> np.ma.MaskedArray[Any, Any]:
        """The outputs at the end of each step, steps by eight (uint8), column 0 being `o0`; masked where unsettled."""
        golden, rows = self._rows()
        places = np.arange(8, dtype=np.uint8)
        unsettled = (golden.settled[rows, None] >> places & 1) == 0
        return np.ma.MaskedArray(golden.outputs[rows, None] >> places & 1, unsettled)

    @property
    def seconds(self) -> NDArray[np.float64]:
        """When each step of `bits` begins, in seconds since the slot was up (float64)."""
        golden, rows = self._rows()
        if "step_line" not in golden.facts:
            first = rows
        else:
            first = np.searchsorted(golden.steps, np.arange(len(rows)), side="left")
        found: NDArray[np.float64] = golden.ticks[first] / golden.oscillator_hz
        return found

    def at(self, step: SupportsIndex) -> Moment:
        """The outputs at the end of a step; -1 is the last one. For plain logic, of a change.

        Raises UsageError for a step that the run does not have.
        """
        golden, rows = self._rows()
        number = step.__index__()
        if not -len(rows) <= number < len(rows):
            raise UsageError(
                f"found step {number} of a prediction", remedy=f"its steps are 0 to {len(rows) - 1}"
            )
        row = int(rows[number])
        outputs, settled = int(golden.outputs[row]), int(golden.settled[row])
        display = self.profile.display if self.profile else {}
        return Moment(
            step=number % len(rows),
            seconds=float(self.seconds[number]),
            outputs=outputs,
            settled=settled,
            shown=as_character(outputs, settled, display),
        )

    def to_csv(self, path: str | Path | None = None) -> str:
        """The golden as CSV, as `forelight golden` writes it; with `path` written there, with its side file."""
        if path is not None:
            write_golden(self, Path(path))
        return to_csv(self).decode()

    def lines(self) -> list[str]:
        """The lines that move, mean something or are unsettled: what is drawn."""
        golden = self.up
        moved = [int(np.bitwise_or.reduce(column ^ column[:1])) for column in (golden.inputs, golden.outputs)]
        moved[1] |= int(np.bitwise_or.reduce(~golden.settled))
        return [
            line
            for names, mask in zip((INPUT_LINES, OUTPUT_LINES), moved, strict=True)
            for bit, line in enumerate(names)
            if mask >> bit & 1 or line in self.means
        ]

    def _repr_svg_(self) -> str:
        """The lines over time, as a notebook shows them."""
        golden, shown = self.up, self.lines() or list(OUTPUT_LINES)
        rows = "".join(
            _named(line, self.means.get(line, ""), n) + _placed(columns(golden, line, COLUMNS), n)
            for n, line in enumerate(shown)
        )
        high = ROW_MM * (len(shown) + 1)
        wide = NAME_MM + TRACE_MM
        end = seconds(golden.end / golden.oscillator_hz)
        ends = (
            f'<text x="{NAME_MM}" y="{high - 1.5:g}">0 s</text>'
            f'<text x="{wide}" y="{high - 1.5:g}" text-anchor="end">{end}</text>'
        )
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
            f'viewBox="0 0 {wide:g} {high:g}" font-family="sans-serif" font-size="2.6" fill="currentColor">'
            f"{rows}{ends}</svg>"
        )

    def _repr_html_(self) -> str:
        """The pictures of the display, then the lines over time."""
        golden = self.up
        if self.profile is None or not self.profile.display:
            return self._repr_svg_()
        wiring = self.profile.display
        wired = sorted(int(line[1:]) for line in wiring)
        sequence = pictures(golden, seen(golden), wired)
        again = repeat(sequence, wired)
        shown = sequence[: min(MOST_PICTURES, sum(again) if again else len(sequence))]
        clock = scale(sequence, golden.oscillator_hz)
        drawn = "".join(
            f'<div style="text-align:center">{figure(display_lamps(one.lamps, wiring), 12)}'
            f'<div style="font-size:small">{clock.text(one.start)}</div></div>'
            for one in shown
        )
        more = len(sequence) - len(shown)
        note = f"<div>{'then again' if again else f'and {more} more pictures'}</div>" if more else ""
        head = escape(f"{self.facts.get('design', '')} on {self.board}, {self.facts.get('procedure', '')}")
        return (
            f'<div><div><b>{head}</b></div><div style="display:flex;flex-wrap:wrap;gap:1em;align-items:end">'
            f"{drawn}{note}</div>{self._repr_svg_()}</div>"
        )


def _named(line: str, means: str, row: int) -> str:
    words = f"{line} {means}".strip()
    short = words if len(words) <= 24 else f"{words[:22].rstrip()}…"
    return f'<text x="0" y="{row * ROW_MM + 3.6:g}">{escape(short)}</text>'


def _placed(states: Sequence[int], row: int) -> str:
    return f'<g transform="translate({NAME_MM:g} {row * ROW_MM:g})">{shapes(states, TRACE_MM, ROW_MM)}</g>'


def prediction(golden: Golden, profile: Board, start: int, means: Mapping[str, str]) -> Prediction:
    """The golden with what a program wants to know beside it."""
    return Prediction(**vars(golden), profile=profile, start=start, means=means)
