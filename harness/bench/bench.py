"""The frame-level bench: runs only the selected design through a timeline and says what the board's pins show."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from ..chip.routing import routing
from ..hand.ledger import Ledger
from ..hand.timeline import Frames, Timeline
from .course import ALL, Course, Seat, carried, routed, spans
from .period import period
from .story import Outcome, Story


@frozen
class Shown:
    """What the pins show, change by change: a row for each frame in which anything changes.

    In frame `frames[k]` the selected design's inputs become `inputs[k]` and the board's output pins
    `outputs[k]`, of which the bits in `proved` cannot depend on the power-up and those in `sampled` did not.
    The design that the steps are counted for has seen `steps[k]` rises of its step line by then. Frame -1
    stands for what a chain shows before its first frame has run. `stories` are by slot.
    """

    frames: Frames
    steps: Frames
    inputs: NDArray[np.uint8]
    outputs: NDArray[np.uint8]
    proved: NDArray[np.uint8]
    sampled: NDArray[np.uint8]
    stories: Mapping[int, Story] = field(default_factory=dict)


def run(
    plan: Timeline,
    seats: Mapping[int, Seat],
    slot: int,
    power_ups: Callable[[], Iterable[PowerUp]],
    seed: int = 0,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Shown:
    """Carry out a timeline; the steps are those that the design in `slot` sees. Slots without a seat are empty.

    Slots do not touch each other, so each design is run by itself through the frames in which it is selected, from
    each of the `power_ups` (made anew for each design); in between it stands still. `seed` is for races. `progress`
    is told updates done and due.
    """
    courses = {
        number: Course(plan.board, number, seats[number], power_ups, seed)
        for number in set(plan.slots.tolist()) & set(seats)
    }
    for course in courses.values():
        course.reach(plan, lasting=True)
    total, done = sum(course.due for course in courses.values()), 0
    stories: dict[int, Story] = {}
    for number, course in courses.items():
        due = course.due
        course.run(plan, partial(lambda before, now: progress(before + now, total), done))
        stories[number] = course.story()
        done += due
    if slot in stories:
        stories[slot] = _repeating(stories[slot], courses[slot], plan)
    tables = {number: routing(plan.board, seat.datasheet) for number, seat in seats.items()}
    rises = courses[slot].rises if slot in courses else _NONE
    return replace(shown_within(plan, stories, tables, rises, 0), stories=stories)


def _repeating(story: Story, course: Course, plan: Timeline) -> Story:
    """The story, in which what is the same but for a shift is agreed upon."""
    if story.inputs is not None or story.loops or story.answer.ends == 1:
        return story
    if np.all(story.agreed | story.proved == ALL):
        return story
    found = period(course.seat.drawn, course.values, story.answer)
    if found is None or plan.slots[-1] != course.slot:
        return story
    gaps = np.diff(story.frames[found.start :])
    if np.any(gaps != gaps[0]) or plan.end - story.frames[-1] > gaps[0] + plan.latency:
        return story
    agreed = story.agreed.copy()
    agreed[found.start + 1 :] = ALL
    return replace(story, agreed=agreed, period=found)


_NONE: Frames = np.zeros(0, np.int64)
#: Changes that are laid out at a time.
_BLOCK = 1 << 18


def shown_within(
    plan: Timeline,
    stories: Mapping[int, Outcome],
    tables: Mapping[int, Sequence[int]],
    rises: Frames,
    since: int,
) -> Shown:
    """Inputs and pins from frame `since` on, on one axis, rows in which nothing changes left out.

    `tables` are routings by slot; `rises` the frames in which the step line that is counted rises.
    """
    empty = tuple(np.array([levels], np.uint8) for levels in (plan.board.empty_outputs, ALL, ALL))
    most = 2 * len(plan.frames) + sum(2 * len(outcome.frames) for outcome in stories.values())
    found = _Unison(most + 4 * len(plan.turns) + 2)
    if plan.latency and not since:  # before the first frame has run: lines at rest, and nothing captured yet
        rest = np.zeros(1, np.uint8)
        found.add((np.array([-1]), [rest]), (np.array([-1]), [rest] * 3))
    for first, end, slot in _blocks(plan, since):
        frames, lines = carried(plan, first, end)
        lines = routed(lines, tables.get(slot, tuple(range(8))))
        pins = np.array([first]), empty
        if slot in stories:
            pins = stories[slot].within(first, end, plan.latency)
            frames, lines = stories[slot].given(first, end) or (frames, lines)
        outputs, sure, agreed = pins[1]
        shown = [outputs & (sure | agreed), sure, agreed & ~sure]
        found.add((frames, [lines.astype(np.uint8)]), (pins[0], shown))
    frames, inputs, outputs, sure, agreed = (column.rows for column in found.columns)
    return Shown(frames, np.searchsorted(rises, frames, side="right"), inputs, outputs, sure, agreed)


def _blocks(plan: Timeline, since: int) -> Iterator[tuple[int, int, int]]:
    """The spans of a timeline, in pieces, so that a long run needs hardly more memory than its answer."""
    for first, end, slot in spans(plan, since):
        low, high = np.searchsorted(plan.frames, (first + 1, end)).tolist()
        marks = plan.frames[low + _BLOCK : high : _BLOCK].tolist()
        for begin, last in pairwise([first, *marks, end]):
            yield begin, last, slot


#: A column of frames that rises, and columns of what holds from each of them on.
Held = tuple[Frames, Sequence[NDArray[Any]]]


class _Unison:
    """Inputs and pins on one axis of frames, rows in which nothing changes left out."""

    def __init__(self, most: int) -> None:
        self.columns = [Ledger(np.int64, most), *(Ledger(np.uint8, most) for _ in range(4))]
        self._last = [[np.zeros(1, np.uint8)], [np.zeros(1, np.uint8)] * 3]

    def add(self, inputs: Held, pins: Held) -> None:
        """What follows on both sides, from one frame on."""
        sides = []
        for number, (frames, whole) in enumerate((inputs, pins)):
            columns = [np.concatenate(pair) for pair in zip(self._last[number], whole, strict=True)]
            kept = np.logical_or.reduce([column[1:] != column[:-1] for column in columns])
            kept[:1] |= not len(self.columns[0])
            self._last[number] = [column[-1:] for column in columns]
            sides.append((frames[kept], [column[np.append(True, kept)] for column in columns]))
        united, rows = _merged(sides[0][0], sides[1][0])
        held = [column[row + 1] for (_, whole), row in zip(sides, rows, strict=True) for column in whole]
        for ledger, more in zip(self.columns, [united, *held], strict=True):
            ledger.append(more)


def _merged(one: Frames, other: Frames) -> tuple[Frames, tuple[Frames, Frames]]:
    """Both in one rising sequence, each frame once, and the rows of either that hold there; -1 before its first."""
    both = np.concatenate((one, other))
    order = np.argsort(both, kind="stable")  # which takes hardly more than one look at two rising sequences
    both = both[order]
    last = np.ones(len(both), bool)
    last[:-1] = both[1:] != both[:-1]
    ones = np.cumsum(order < len(one))[last]
    return both[last], (ones - 1, np.flatnonzero(last) - ones)
