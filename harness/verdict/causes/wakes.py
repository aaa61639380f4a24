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
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from ...bench.course import Seat
from ...bench.powerups import power_up_of
from ...capture.record import Floats
from ...hand.timeline import Timeline
from ..everywhere import fast_length, split
from ..fit import Span
from ..placement import Recording
from ..rows import ReadRows, Words
from .lightly import many, reached

#: Power-ups that are looked at in full.
SOME = 6
#: Rows of the recording by which they are looked at.
ROWS = 512
#: Lanes whose transforms are made at once.
AT_ONCE = 64

#: Power-ups by which it is seen at a glance whether it matters.
BOTH: tuple[PowerUp, PowerUp] = (0, 1)

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
    reaching = _reaching(plan, seats, until)
    if reaching is None:
        return None
    netlist, ticks, values = seats[int(plan.slots[-1])].netlist, *reaching
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


def at_a_glance(plan: Timeline, seats: Mapping[int, Seat], until: float) -> Woken | None:
    """The same from two power-ups alone, all at 0 and all at 1."""
    reaching = _reaching(plan, seats, until)
    if reaching is None:
        return None
    ticks, values = reaching
    simulation = seats[int(plan.slots[-1])].simulation
    outputs = np.empty((2, len(values) + 1), np.uint8)
    try:
        for row, power_up in zip(outputs, BOTH, strict=True):
            simulation.power_cycle(power_up)
            simulation.settle()
            row[0] = simulation.get("outputs")
            row[1:] = simulation.run_samples("inputs", values, "outputs")
    except LoopError:
        return None
    return Woken(np.concatenate([[-np.inf], ticks]), outputs)


def _reaching(
    plan: Timeline, seats: Mapping[int, Seat], until: float
) -> tuple[Ticks, NDArray[np.uint16]] | None:
    """What reaches the only design that is selected, and the ticks at which the pins show it, up to the tick `until`;
    None where there is another, or one with a memory wired to it."""
    slot = int(plan.slots[-1])
    if set(plan.slots.tolist()) != {slot} or slot not in seats or seats[slot].memories:
        return None
    course = reached(plan, seats, slot)
    ticks = plan.ticks(course.frames + plan.latency).astype(np.float64)
    count = int(np.searchsorted(ticks, until, side="right"))
    return ticks[:count], course.values[:count]


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

    def likely(self, of: Woken, most: float | None = None) -> list[int]:
        """The power-ups from which the recording may come, the likeliest first; `most` as in `amiss`."""
        lanes = _unlike(of.outputs)
        amiss = self.amiss(Woken(of.ticks, of.outputs[lanes]), most)
        order: list[int] = lanes[np.argsort(amiss, kind="stable")[:SOME]].tolist()
        return order

    def amiss(self, of: Woken, most: float | None = None) -> Floats:
        """How many levels are otherwise from each power-up, where it lies best; no line counts for more than `most`,
        which may be another line, or none at all."""
        columns = [np.searchsorted(of.ticks, its, side="right") - 1 for its in self.ticks]
        lags, apart = self._placements(of.outputs, columns)
        alike = self._least(self._shown(of.outputs[:1], columns), lags[~apart], most)
        if not apart.any():
            return np.repeat(alike, len(of.outputs))
        lags = lags[apart]
        rows = slice(int(lags[0]), int(lags[-1]) + self.part.stop - self.part.start)
        every = self._shown(of.outputs, [its[rows] for its in columns])
        shown = every[_unlike(every)]
        least = np.minimum(self._least(shown, lags - rows.start, most), alike).tolist()
        found = {row.tobytes(): its for row, its in zip(shown, least, strict=True)}
        return np.array([found[row.tobytes()] for row in every])

    def _placements(self, outputs: Bytes, columns: Sequence[Lags]) -> tuple[Lags, NDArray[np.bool_]]:
        """The lags, and in which of them a row lies that the power-ups do not share: most differ for some rows at
        first. Once nothing moves any more one placement stands for all."""
        moves = np.cumsum((outputs[:, 1:] != outputs[:, :-1]).any(axis=0))
        moves = np.concatenate([[0], moves])
        rest = max(int(np.searchsorted(moves[its], moves[its[-1]])) for its in columns)
        lags = self.lags[self.lags <= max(rest, self.lags[0])]
        unlike = (outputs != outputs[0]).any(axis=0)
        rows = np.flatnonzero(np.any([unlike[its] for its in columns], axis=0))
        if not len(rows):
            return lags, np.zeros(len(lags), np.bool_)
        return lags, (lags > rows[0] - (self.part.stop - self.part.start)) & (lags <= rows[-1])

    def _least(self, shown: Words, lags: Lags, most: float | None) -> Floats:
        """How many levels are otherwise in each of these rows, where they lie best of the `lags`."""
        found = np.full(len(shown), np.inf)
        if not len(lags):
            return found
        read, part = self.recording.rows, self.part
        lines = [line for line, source in enumerate(self.sources) if source is not None]
        told, sign = split(read.levels[part], read.sure[part], lines)
        size = fast_length(shown.shape[1])
        ours = np.conj(scipy.fft.rfft(sign.astype(np.float32), size))
        for begin in range(0, len(shown), AT_ONCE):
            some = shown[begin : begin + AT_ONCE]
            known = told.sum(axis=1).tolist()
            same = [
                its * scipy.fft.rfft(_signs(some, line, size)) for its, line in zip(ours, lines, strict=True)
            ]
            if most is None:  # one transform back for all
                known, same = [sum(known)], [sum(same[1:], same[0])]
            # Whole numbers: what is as good is not to be told apart by rounding.
            wrong = [
                np.rint((count - scipy.fft.irfft(product, size)[:, lags]) / 2)
                for count, product in zip(known, same, strict=True)
            ]
            amiss = sum(np.minimum(its, np.inf if most is None else most) for its in wrong)
            found[begin : begin + AT_ONCE] = amiss.min(axis=1)
        return found

    def _shown(self, outputs: Bytes, columns: Sequence[Lags]) -> Words:
        """By power-up the recorded lines in rows of the prediction, in words as those of the recording; each is shown
        by these `columns` of the outputs."""
        shown = np.zeros((len(outputs), len(columns[0])), self.recording.rows.levels.dtype)
        read: dict[bytes, Bytes] = {}  # most lines are read at the same ticks
        for line, (at, source) in enumerate(zip(columns, self.sources, strict=True)):
            if source is None:
                continue
            if (key := at.tobytes()) not in read:
                read[key] = outputs.take(at, axis=1)
            shown |= (read[key] >> source & 1).astype(shown.dtype) << line
        return shown


def _signs(shown: Words, line: int, size: int) -> NDArray[np.float32]:
    """1 for high and -1 for low in each row, and 0 beyond."""
    found = np.zeros((len(shown), size), np.float32)
    found[:, : shown.shape[1]] = (shown >> line & 1) * np.float32(2) - 1
    return found


def _unlike(rows: Words) -> NDArray[np.int64]:
    """The numbers of the rows that are not as one before them."""
    return np.array(list({row.tobytes(): n for n, row in reversed(list(enumerate(rows)))}.values()), np.int64)
