"""Edges of several lines: those of a capture in order of time, those of a golden found by line, direction and time."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from ..capture.record import Floats, Ints, Levels, RecordedLine

NOWHERE = 9.0  # the distance to an edge that does not exist
CELLS_A_STEP = 4  # cells of the table by which the nearest edge is found
MOST_CELLS = 1 << 19  # a longer golden is searched without a table


@dataclass(frozen=True)
class Edges:
    """Changes from one known level to the other, in order of time; `line` is the number of the line, `level` the new
    level."""

    time: Floats
    line: NDArray[np.int8]
    level: Levels

    @property
    def kind(self) -> Ints:
        """Line and direction in one number."""
        return self.line.astype(np.int64) * 2 + self.level

    def part(self, rows: slice | NDArray[np.bool_] | Ints) -> Edges:
        return Edges(self.time[rows], self.line[rows], self.level[rows])


class Stream:
    """The edges of some lines of a capture; pieces of them are put in order when they are asked for."""

    def __init__(self, lines: Mapping[str, RecordedLine], names: Sequence[str]) -> None:
        self.lines = [_known_edges(lines[name]) for name in names]
        self.total = sum(len(line.times) for line in self.lines)
        filled = [line.times for line in self.lines if len(line.times)]
        self.first = min((float(times[0]) for times in filled), default=0.0)
        self.last = max((float(times[-1]) for times in filled), default=0.0)

    def between(self, start: float, stop: float, most: int = sys.maxsize) -> Edges:
        """All edges from `start` on and before `stop`, or evenly chosen ones where there are more than `most`."""
        rows = [line.times.searchsorted([start, stop]).tolist() for line in self.lines]
        step = 1 + sum(end - begin for begin, end in rows) // most
        return self._joined([slice(begin, end, step) for begin, end in rows])

    def count(self, start: float, stop: float) -> int:
        """How many edges there are from `start` on and before `stop`."""
        return sum(
            int(np.diff(np.searchsorted(line.times, [start, stop]))[0]) for line in self.lines if start < stop
        )

    def head(self, start: float, count: int) -> Edges:
        """The next `count` edges from `start` on."""
        begins = [int(np.searchsorted(line.times, start)) for line in self.lines]
        return self._joined([slice(begin, begin + count) for begin in begins]).part(slice(None, count))

    def sample(self, most: int) -> Edges:
        """All edges, or evenly chosen ones where there are more than `most`."""
        step = 1 + self.total // most
        return self._joined([slice(None, None, step) for _ in self.lines])

    def _joined(self, rows: list[slice]) -> Edges:
        parts = [
            Edges(line.times[row], np.full(len(line.times[row]), number, np.int8), line.levels[row])
            for number, (line, row) in enumerate(zip(self.lines, rows, strict=True))
        ]
        if not parts:
            return Edges(np.zeros(0), np.zeros(0, np.int8), np.zeros(0, np.uint8))
        time = np.concatenate([part.time for part in parts])
        order = np.argsort(time, kind="stable")
        line = np.concatenate([part.line for part in parts])
        return Edges(time[order], line[order], np.concatenate([part.level for part in parts])[order])


def _known_edges(line: RecordedLine) -> RecordedLine:
    real = (line.levels[1:] != UNKNOWN) & (line.levels[:-1] != UNKNOWN)
    rows = slice(None) if real.all() else real
    return RecordedLine(line.times[1:][rows], line.levels[1:][rows])


def _from(line: RecordedLine, start: float) -> RecordedLine:
    """The line from that time on."""
    rows = slice(int(np.searchsorted(line.times, start)), None)
    return RecordedLine(line.times[rows], line.levels[rows])


def _rows_at(levels: Levels, level: int) -> slice | NDArray[np.bool_]:
    """Which rows are at this level: every second one, unless some edges are left out."""
    if (levels[1:] != levels[:-1]).all():
        return slice(int(len(levels) > 0 and levels[0] != level), None, 2)
    at: NDArray[np.bool_] = levels == level
    return at


class Nearest:
    """Finds the edges of some lines of a golden from `start` to `end`."""

    def __init__(self, lines: Sequence[RecordedLine], end: float, start: float = 0.0) -> None:
        """`lines` hold edges only, as those of a Stream do."""
        self.lines, self.start, self.end = [_from(line, start) for line in lines], start, end
        self.span = float(np.ceil(end)) + 8.0
        self._firsts: Ints | None = None
        kinds = [line.times[_rows_at(line.levels, level)] for line in self.lines for level in (0, 1)]
        self._bounds = np.cumsum([0, *map(len, kinds)])
        self.total = int(self._bounds[-1])
        self._keys = np.full(self.total + 1, np.inf)
        for kind, times in enumerate(kinds):
            np.add(times, kind * self.span, out=self._keys[self._bounds[kind] : self._bounds[kind + 1]])
        cells = int(2 * len(lines) * self.span) * CELLS_A_STEP
        if cells <= MOST_CELLS:
            # For each cell of the keys the first edge that does not lie before it.
            self._firsts = np.searchsorted(self._keys, np.arange(cells + 1) / CELLS_A_STEP)
            self._crowd = int(np.diff(self._firsts).max(initial=0))

    def _of_kind(self, kind: int) -> Floats:
        """The edges of one kind, at `kind * span` plus their time."""
        return self._keys[self._bounds[kind] : self._bounds[kind + 1]]

    @staticmethod
    def of(
        lines: Mapping[str, RecordedLine], names: Sequence[str], end: float, start: float = 0.0
    ) -> Nearest:
        return Nearest(Stream(lines, names).lines, end, start)

    def only(self, lines: Sequence[int]) -> Nearest:
        """The same for some of the lines; the others keep their numbers and lose their edges."""
        none = RecordedLine(np.zeros(0), np.zeros(0, np.uint8))
        return Nearest(
            [line if number in lines else none for number, line in enumerate(self.lines)],
            self.end,
            self.start,
        )

    @property
    def tabled(self) -> bool:
        """Whether the golden is short enough for a table by which edges are found fast."""
        return self._firsts is not None

    def only_once(self, kind: int) -> bool:
        """Whether the golden has one edge of this kind."""
        return len(self._of_kind(kind)) == 1

    def distance(self, kind: Ints, time: Floats) -> Floats:
        """Golden edge minus `time`, for the nearest edge of this kind; at least 2 where there is none near."""
        if not self.total:
            return np.full(np.shape(time), NOWHERE)
        key = kind * self.span + np.clip(time, -2.0, self.end + 2.0)
        after = self._after(key)
        ahead = self._keys[after] - key
        behind = self._keys[np.maximum(after - 1, 0)] - key
        nearest: Floats = np.where(ahead < -behind, ahead, behind)
        return nearest

    def _after(self, key: NDArray[np.floating]) -> Ints:
        """For each key the first edge that does not lie before it."""
        if self._firsts is None:
            # Sorted questions are answered faster: their answers lie beside each other.
            order = np.argsort(key, axis=None)
            after = np.empty(key.shape, np.int64)
            after.flat[order] = np.searchsorted(self._keys[:-1], key.flat[order])
            return after
        after = self._firsts[np.maximum((key * CELLS_A_STEP).astype(np.int32), 0)]
        for _ in range(self._crowd):
            after += self._keys[after] < key
        return after

    def count(self, start: Floats, stop: Floats) -> Ints:
        """How many golden edges lie between."""
        counts = np.zeros(np.shape(start), np.int64)
        for kind in range(2 * len(self.lines)):
            keys, zero = self._of_kind(kind), kind * self.span
            counts += np.maximum(np.searchsorted(keys, zero + stop) - np.searchsorted(keys, zero + start), 0)
        return counts

    def phases(self) -> Floats:
        """Where in a step the edges of each kind lie, between 0 and 1; nan where they do not keep to one place."""
        phases = np.full(2 * len(self.lines), np.nan)
        for kind in range(len(phases)):
            times = self._of_kind(kind)[: 1 << 16] - kind * self.span
            mean = np.exp(2j * np.pi * times).mean() if len(times) else 0.0
            if np.abs(mean) > 0.8:
                phases[kind] = np.angle(mean) / (2 * np.pi) % 1.0
        return phases

    def table(self, kind: int, resolution: int, weights: Sequence[int]) -> NDArray[np.uint8]:
        """A weight for each golden time, in cells of 1/`resolution`, by the distance of the nearest edge in cells.

        The `weights` fall. The first len(`weights`) cells lie before the golden's start.
        """
        pad = len(weights)
        marks = np.zeros(int(self.end * resolution) + 1 + 2 * pad, np.uint8)
        cells = ((self._of_kind(kind) - kind * self.span) * resolution).astype(np.int64)
        marks[np.clip(cells + pad, pad, len(marks) - 1 - pad)] = 1
        table = marks * np.uint8(weights[0])
        for distance in range(1, pad):
            near = marks * np.uint8(weights[distance])
            np.maximum(table[:-distance], near[distance:], out=table[:-distance])
            np.maximum(table[distance:], near[:-distance], out=table[distance:])
        return table
