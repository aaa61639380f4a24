"""Which of many power-ups a recording may come from, where nothing settles the design.

Theory of operation. What reaches the design is the same from each power-up, so all of them run in one word, a lane
each, for as long as the beginning of the recording may lie there. What the lanes put out is read where the recording
was, and laid at all placements at once by Fourier transforms, as in `everywhere`; the few from which the least is
otherwise are then foretold in full, one by one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # loads its parts where they are used
from forelight.sim.lanes.variants import Lanes
from forelight.sim.loops import LoopError
from numpy.typing import NDArray

from ...bench.course import Seat
from ...bench.powerups import power_up_of
from ...hand.timeline import Timeline
from ..everywhere import fast_length, split
from ..fit import Recording, Span
from ..rows import ReadRows, Words
from .lightly import many, reached

#: Power-ups that are looked at in full.
SOME = 6
#: Rows of the recording by which they are looked at.
ROWS = 512
#: Lanes whose transforms are made at once.
AT_ONCE = 64

Bytes = NDArray[np.uint8]
Ticks = NDArray[np.float64]
Lags = NDArray[np.int64]


@dataclass(frozen=True)
class Woken:
    """What the pins show from each power-up, `outputs` by lane, from each of the `ticks` on."""

    ticks: Ticks
    outputs: Bytes


def woken(plan: Timeline, seats: Mapping[int, Seat], lanes: dict[int, Lanes], until: float) -> Woken | None:
    """The power-ups of the only design that is selected, to the tick `until`; None where they cannot be run side by
    side.

    `lanes` are those that were made before, by the identity of the netlist.
    """
    slot = int(plan.slots[-1])
    if set(plan.slots.tolist()) != {slot} or slot not in seats or seats[slot].memories:
        return None
    course, netlist = reached(plan, seats, slot), seats[slot].netlist
    ticks = plan.ticks(course.frames + plan.latency).astype(np.float64)
    values = course.values[: np.searchsorted(ticks, until, side="right")]
    try:
        if id(netlist) in lanes:
            lanes[id(netlist)].power_cycle_again()
        else:
            count = many(netlist)
            held = [power_up_of(netlist, number, count) for number in range(count)]
            lanes[id(netlist)] = Lanes(netlist, count, held)
        made = lanes[id(netlist)]
        if not made.side_by_side:
            return None
        made.settle()
        # The first value changes nothing, and shows what the lanes woke up with.
        values = np.concatenate([np.zeros(1, values.dtype), values])
        outputs = np.ascontiguousarray(made.run_samples({"inputs": values}, "outputs"), np.uint8)
    except LoopError:
        return None
    return Woken(np.concatenate([[-np.inf], ticks[: len(values) - 1]]), outputs)


@dataclass(frozen=True)
class Beginning:
    """The first rows of a recording, and the placements at which they may lie on a prediction.

    `lags` are rows of the prediction. `ticks` says for each line when the rows of the prediction are read that count,
    and `sources` which output each line shows (None: it is no output).
    """

    recording: Recording
    part: slice
    lags: Lags
    ticks: Sequence[Ticks]
    sources: Sequence[int | None]

    @staticmethod
    def of(
        recording: Recording,
        rows: ReadRows,
        ticks: Sequence[Ticks],
        sources: Sequence[int | None],
        before: bool,
    ) -> Beginning | None:
        """Of a recording and `rows` of a prediction, which are read at these `ticks`; None where it has no place in
        them."""
        first, stop = recording.bounds
        part = slice(first, min(stop, first + ROWS))
        count = part.stop - part.start
        span = Span.of(recording, rows, before)
        if span is None or not sources:
            return None
        lags = first + span.offsets(np.arange(span.count))
        lags = lags[(lags >= 0) & (lags + count <= len(rows.levels))]
        if not len(lags):
            return None
        last = int(lags[-1]) + count
        return Beginning(recording, part, lags, [its[:last] for its in ticks], sources)

    @property
    def until(self) -> float:
        """The tick of the last row that counts."""
        return max(float(its[-1]) for its in self.ticks)

    def likely(self, of: Woken) -> list[int]:
        """The power-ups from which the recording may come, the likeliest first.

        Most differ for some rows at first, and only where a placement reaches into those they are told apart. Once
        nothing moves any more all placements are alike.
        """
        lanes = _unlike(of.outputs)
        outputs = of.outputs[lanes]
        columns = [np.searchsorted(of.ticks, its, side="right") - 1 for its in self.ticks]
        moves = np.cumsum((np.diff(outputs, axis=1, prepend=outputs[:, :1]) != 0).any(axis=0))
        rest = max(int(np.searchsorted(moves[its], moves[its[-1]])) for its in columns)
        lags = self.lags[self.lags <= max(rest, self.lags[0])]
        ever = (outputs != outputs[0]).any(axis=0)
        apart = np.flatnonzero(np.any([ever[its] for its in columns], axis=0))
        count = self.part.stop - self.part.start
        inside = np.zeros(len(lags), np.bool_)
        if len(apart):
            inside = (lags > apart[0] - count) & (lags <= apart[-1])
        if not inside.any():
            return [int(lane) for lane in lanes[:SOME]]
        same = self._best(self._shown(outputs[:1], columns), lags[~inside])
        lags = lags[inside]
        reached = slice(int(lags[0]), int(lags[-1]) + count)
        every = self._shown(outputs, [its[reached] for its in columns])
        unlike = every[_unlike(every)]
        scores = np.maximum(self._best(unlike, lags - reached.start), same)
        best = {row.tobytes(): score for row, score in zip(unlike, scores.tolist(), strict=True)}
        order = np.argsort([-best[row.tobytes()] for row in every], kind="stable")
        return [int(lane) for lane in lanes[order[:SOME]]]

    def _best(self, shown: Words, lags: Lags) -> NDArray[np.float64]:
        """By power-up how many more of the levels are as they were recorded than otherwise, where most are: at one of
        these `lags`."""
        best = np.full(len(shown), -np.inf)
        if not len(lags):
            return best
        read, lines = self.recording.rows, range(len(self.sources))
        _, sign = split(read.levels[self.part], read.sure[self.part], lines)
        size = fast_length(shown.shape[1])
        ours = np.conj(scipy.fft.rfft(sign.astype(np.float32), size))
        for begin in range(0, len(shown), AT_ONCE):
            some = shown[begin : begin + AT_ONCE]
            same = np.zeros((len(some), ours.shape[1]), np.complex64)
            levels = np.zeros((len(some), size), np.float32)
            for line, source in enumerate(self.sources):
                if source is not None:
                    levels[:, : some.shape[1]] = (some >> line & 1) * np.float32(2) - 1
                    same += ours[line] * scipy.fft.rfft(levels)
            # Counts: what is as good shall not be told apart by rounding.
            best[begin : begin + AT_ONCE] = np.rint(scipy.fft.irfft(same, size)[:, lags].max(axis=1))
        return best

    def _shown(self, outputs: Bytes, columns: Sequence[Lags]) -> Words:
        """By power-up the recorded lines in rows of the prediction, in words as those of the recording; each line is
        what these `columns` of the outputs show."""
        shown = np.zeros((len(outputs), len(columns[0])), self.recording.rows.levels.dtype)
        read: dict[bytes, Bytes] = {}  # most lines are read at the same ticks
        for line, (at, source) in enumerate(zip(columns, self.sources, strict=True)):
            if source is None:
                continue
            if (key := at.tobytes()) not in read:
                read[key] = outputs.take(at, axis=1)
            shown |= (read[key] >> source & 1).astype(shown.dtype) << line
        return shown


def _unlike(rows: Words) -> NDArray[np.int64]:
    """The numbers of the rows that are not as one before them."""
    return np.array(list({row.tobytes(): n for n, row in reversed(list(enumerate(rows)))}.values()), np.int64)
