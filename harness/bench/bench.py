"""The frame-level bench: runs only the selected design through a timeline and says what the board's pins show."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.sim.netlist import Netlist
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from ..chip.routing import routing, step_input
from .powerups import Answer, proved, run_power_ups
from .timeline import Frames, Lines, Timeline

ALL = 0xFF


@dataclass(frozen=True)
class Seat:
    """A design in its slot: its datasheet, and the netlist of its wrapper (ports `inputs` and `outputs`)."""

    datasheet: Datasheet
    netlist: Netlist

    @cached_property
    def simulation(self) -> Simulation:
        """Machine code of the design, made once."""
        return Simulation(self.netlist)


@dataclass(frozen=True)
class Shown:
    """What the pins show, change by change: a row for each frame in which anything changes.

    In frame `frames[k]` the selected design's inputs become `inputs[k]` and the board's output pins
    `outputs[k]`, of which the bits in `proved` cannot depend on the power-up and those in `sampled` did not.
    The design that the steps are counted for has seen `steps[k]` rises of its step line by then. Frame -1
    stands for what a chain shows before its first frame has run.
    """

    frames: Frames
    steps: Frames
    inputs: NDArray[np.uint8]
    outputs: NDArray[np.uint8]
    proved: NDArray[np.uint8]
    sampled: NDArray[np.uint8]


def run(
    plan: Timeline,
    seats: Mapping[int, Seat],
    slot: int,
    power_ups: Callable[[], Iterable[PowerUp]],
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Shown:
    """Carry out a timeline; the steps are those that the design in `slot` sees. Slots without a seat are empty.

    Slots do not touch each other, so each design is run by itself through the frames in which it is selected, from
    each of the `power_ups` (made anew for each design); in between it stands still. `progress` is told updates
    done and due.
    """
    tables = {number: routing(plan.board, seat.datasheet) for number, seat in seats.items()}
    reached = {
        number: _reaching(plan, number, tables[number]) for number in set(plan.slots.tolist()) & set(seats)
    }
    total = sum(len(frames) for frames, _ in reached.values())
    pins: dict[int, _Pins] = {}
    done = 0
    for number, (frames, values) in reached.items():
        answer = run_power_ups(
            seats[number].simulation,
            values,
            power_ups(),
            partial(lambda before, now: progress(before + now, total), done),
        )
        pins[number] = _Pins(frames, answer, proved(seats[number].netlist))
        done += len(frames)
    rises = _rises(*reached[slot], step_input(seats[slot].datasheet)) if slot in reached else _NONE
    return _merged(plan, pins, tables, rises)


@dataclass(frozen=True)
class _Pins:
    """What one design answers: element k + 1 of `answer` is what it puts out from frame `frames[k]` on."""

    frames: Frames
    answer: Answer
    proved: int

    def within(self, first: int, end: int, latency: int) -> tuple[Frames, NDArray[np.uint8]]:
        """From frame `first` to before `end`, when the pins change, and to what: rows of outputs, proved, agreed."""
        low = int(np.searchsorted(self.frames, first - latency, side="right"))
        high = int(np.searchsorted(self.frames, end - latency, side="left"))
        frames = np.concatenate(([first], self.frames[low:high] + latency))
        outputs, agreed = (column[low : high + 1] for column in (self.answer.outputs, self.answer.agreed))
        return frames, np.stack((outputs, np.full_like(outputs, self.proved), agreed))


_NONE: Frames = np.zeros(0, np.int64)


def _spans(plan: Timeline) -> Iterator[tuple[int, int, int]]:
    """First frame, end and slot of each time that the selector stood still."""
    firsts = plan.turns.tolist()
    ends = [*firsts[1:], *([plan.end] if firsts else [])]
    yield from zip(firsts, ends, plan.slots.tolist(), strict=True)


def _carried(plan: Timeline, first: int, end: int) -> tuple[Frames, Lines]:
    """The lines in `first`, and their changes before `end`."""
    low = int(np.searchsorted(plan.frames, first, side="right")) - 1
    high = int(np.searchsorted(plan.frames, end, side="left"))
    return np.concatenate(([first], plan.frames[low + 1 : high])), plan.lines[low:high]


def _routed(lines: Lines, table: Sequence[int]) -> NDArray[np.uint16]:
    """The board's lines as the inputs of a design, by its routing."""
    if table == tuple(range(8)):
        return lines & np.uint16(ALL)
    found = np.zeros_like(lines)
    for bit, line in enumerate(table):
        found |= (lines >> np.uint16(line) & np.uint16(1)) << np.uint16(bit)
    return found


def _reaching(plan: Timeline, slot: int, table: Sequence[int]) -> tuple[Frames, NDArray[np.uint16]]:
    """When the inputs of the design in a slot change, and to what."""
    follows = plan.board.link == "direct" and plan.board.unselected == "run"
    spans = [(0, plan.end)] if follows else [(a, b) for a, b, where in _spans(plan) if where == slot]
    parts = [_carried(plan, first, end) for first, end in spans]
    frames = np.concatenate([frames for frames, _ in parts])
    values = _routed(np.concatenate([lines for _, lines in parts]), table)
    kept = np.ones(len(values), bool)
    kept[1:] = values[1:] != values[:-1]
    return frames[kept], values[kept]


def _rises(frames: Frames, values: NDArray[np.uint16], step: int | None) -> Frames:
    """The frames in which the step line rises; it is low at power-up."""
    if step is None:
        return _NONE
    levels = (values >> np.uint16(step) & np.uint16(1)).astype(np.int8)
    rising: Frames = frames[np.diff(levels, prepend=np.int8(0)) == 1]
    return rising


def _merged(
    plan: Timeline, pins: Mapping[int, _Pins], tables: Mapping[int, Sequence[int]], rises: Frames
) -> Shown:
    """Inputs and pins of all spans on one axis, rows in which nothing changes left out."""
    when, what, shown_when, shown = [_NONE], [np.zeros(0, np.uint16)], [_NONE], [np.zeros((3, 0), np.uint8)]
    if plan.latency:  # before the first frame has run: lines at rest, and nothing captured yet
        when, what = [np.array([-1])], [np.zeros(1, np.uint16)]
        shown_when, shown = [np.array([-1])], [np.zeros((3, 1), np.uint8)]
    empty = np.array([[plan.board.empty_outputs], [ALL], [ALL]], np.uint8)
    for first, end, slot in _spans(plan):
        frames, lines = _carried(plan, first, end)
        when.append(frames)
        what.append(_routed(lines, tables.get(slot, tuple(range(8)))) & np.uint16(ALL))
        frames, rows = (
            pins[slot].within(first, end, plan.latency) if slot in pins else (np.array([first]), empty)
        )
        shown_when.append(frames)
        shown.append(rows)
    input_frames, inputs = np.concatenate(when), np.concatenate(what).astype(np.uint8)
    pin_frames, (outputs, sure, agreed) = np.concatenate(shown_when), np.concatenate(shown, axis=1)
    outputs = outputs & (sure | agreed)
    frames = _united(input_frames, pin_frames)
    inputs = inputs[np.searchsorted(input_frames, frames, side="right") - 1]
    row = np.searchsorted(pin_frames, frames, side="right") - 1
    columns = (inputs, outputs[row], sure[row], (agreed & ~sure)[row])
    kept = np.zeros(len(frames), bool)
    kept[:1] = True
    for column in columns:
        kept[1:] |= column[1:] != column[:-1]
    frames = frames[kept]
    steps = np.searchsorted(rises, frames, side="right").astype(np.int64)
    return Shown(frames, steps, *(column[kept] for column in columns))


def _united(one: Frames, other: Frames) -> Frames:
    """Both in one rising sequence, each frame once (far faster on sorted input than `np.union1d`, which hashes)."""
    both = np.sort(np.concatenate((one, other)), kind="stable")
    fresh = np.ones(len(both), bool)
    fresh[1:] = both[1:] != both[:-1]
    return both[fresh]
