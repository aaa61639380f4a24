"""Which of many power-ups a recording may come from, where nothing settles the design.

Theory of operation. What reaches the design is the same from each power-up, so all of them run in one word, a lane
each. What the lanes put out is read where the recording was, and laid at all placements at once by Fourier transforms,
as in `everywhere`; the few from which the least is otherwise are then foretold in full.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # loads its parts where they are used
from forelight.sim.lanes.variants import Lanes
from forelight.sim.loops import LoopError
from numpy.typing import NDArray

from ...bench.course import Course, Seat
from ...bench.powerups import power_up_of
from ...golden.golden import Golden
from ...hand.timeline import Timeline
from ..everywhere import fast_length, split
from ..fit import Recording
from ..rows import ReadRows
from .lightly import many, reached, shown_with

#: Power-ups that are looked at in full.
SOME = 6
#: Rows of the recording by which they are looked at.
ROWS = 512
#: Lanes whose transforms are made at once.
AT_ONCE = 64

Bytes = NDArray[np.uint8]
Ticks = NDArray[np.float64]


@dataclass(frozen=True)
class Woken:
    """What the pins show from each power-up of a timeline, `outputs` by lane, from each of the `ticks` on."""

    plan: Timeline
    seats: Mapping[int, Seat]
    course: Course
    ticks: Ticks
    outputs: Bytes

    def golden(self, wake: int) -> Golden:
        """What the pins show from this power-up."""
        outputs = self.outputs[wake]
        return shown_with(self.plan, self.seats, self.course, outputs, np.full_like(outputs, 0xFF))


def woken(plan: Timeline, seats: Mapping[int, Seat], lanes: dict[int, Lanes]) -> Woken | None:
    """The power-ups of the only design that is selected; None where they cannot be run side by side.

    `lanes` are those that were made before, by the identity of the netlist.
    """
    slot = int(plan.slots[-1])
    if set(plan.slots.tolist()) != {slot} or slot not in seats or seats[slot].memories:
        return None
    course, netlist = reached(plan, seats, slot), seats[slot].netlist
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
        first = np.array(made.get("outputs"), np.uint8)
        rest = made.run_samples({"inputs": course.values}, "outputs").astype(np.uint8)
    except LoopError:
        return None
    outputs = np.concatenate([first[:, None], rest], axis=1)
    ticks = plan.ticks(course.frames + plan.latency).astype(np.float64)
    return Woken(plan, seats, course, np.concatenate([[-np.inf], ticks]), outputs)


def likely(
    of: Woken, recording: Recording, rows: ReadRows, row_ticks: Sequence[Ticks], sources: Sequence[int | None]
) -> list[int]:
    """The power-ups from which the recording may come, the likeliest first.

    `rows` are those of a prediction of the same timeline; `row_ticks` says for each line when its rows are read, and
    `sources` which output each shows (None: it is no output).
    """
    first, stop = recording.bounds
    part = slice(first, min(stop, first + ROWS))
    count, lines = part.stop - part.start, len(sources)
    lags = len(rows.levels) - count + 1
    if lags < 1 or not lines:
        return []
    told, sign = split(recording.rows.levels[part], recording.rows.sure[part], range(lines))
    size = fast_length(len(rows.levels) + count)
    ours = np.conj(scipy.fft.rfft(sign.astype(np.float32), size))
    lanes = np.array(
        list({row.tobytes(): lane for lane, row in reversed(list(enumerate(of.outputs)))}.values())
    )
    unique = of.outputs[lanes]
    at = [np.searchsorted(of.ticks, ticks, side="right") - 1 for ticks in row_ticks]
    compared = float(told.sum())
    least = np.empty(len(unique))
    for begin in range(0, len(unique), AT_ONCE):
        some = unique[begin : begin + AT_ONCE]
        same = np.zeros((len(some), ours.shape[1]), np.complex64)
        for line, source in enumerate(sources):
            if source is None:
                continue
            levels = (some[:, at[line]] >> source & 1).astype(np.float32) * 2 - 1
            same += ours[line] * scipy.fft.rfft(levels, size)
        score = scipy.fft.irfft(same, size)[:, :lags]
        least[begin : begin + AT_ONCE] = (compared - score.max(axis=1)) / 2
    order: list[int] = lanes[np.argsort(least, kind="stable")[:SOME]].tolist()
    return order
