"""Inputs played from a recording: what a hand did on the bench, as actions that a prediction can carry out."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Action, Frames, Play, Procedure, Set, to_text
from forelight.designs.procedures.text import Where, place_of
from forelight.sim.errors import CaptureError, UsageError
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from ..boards.profile import Board
from ..hand.hand import Hand
from ..hand.routine import divides
from .readers import NO_MAPPING, read_capture
from .record import Capture, Floats, Ints
from .step_line import RecordedClock, step_clock, through

#: Changes of the inputs that one recording may have.
MOST_CHANGES = 1 << 20
ROOM = 1.25  # times what 99 % of the rises keep within: no change strays further
WILD = 0.4  # of a step: a line that keeps to its clock so badly is none
EXACT = 1e-4  # of a step: rises so exact are those of a prediction, whose moves may come together with a rise


def played(
    procedure: Procedure,
    board: Board,
    datasheet: Datasheet,
    slot: int = 0,
    mapping: Mapping[str, str] = NO_MAPPING,
    *,
    before: Sequence[Action] = (),
    where: Where = "",
    other_side: Collection[int] = (),
) -> Procedure:
    """The procedure with each `Play` replaced by waits and settings of the inputs, change by change.

    `before` is done before it; `where` is what an error shall name. Of the changes that `in_doubt` names, those with
    these numbers are played on the `other_side` of the rise they stand beside. If the recording holds the step line,
    and the step clock runs, its steps are laid on those of the procedure: the next rise of the step clock is the first
    one recorded. Without a step line its times count. A level that was not recorded leaves the line as it is. Raises
    CaptureError or UsageError for a recording that cannot be played.
    """
    hand = Hand(board, datasheet, slot)
    hand.do(before)
    actions: list[Action] = []
    for number, action in enumerate(procedure.actions, 1):
        if not isinstance(action, Play):
            hand.do([action])
            actions.append(action)
            continue
        try:
            inside = _file(action.file, procedure.folder)
            recording = read_capture(inside, mapping, board.pins)
            more = _actions(recording, action.file, hand, board, datasheet, other_side)
            hand.do(more)
        except UsageError as error:
            found = f'"{to_text(action)}": {error.what}'
            raise UsageError(found, place=place_of(where, number), remedy=error.remedy) from None
        actions += more
    return replace(procedure, actions=tuple(actions), places=())


def _file(name: str, folder: Path) -> Path:
    path = folder / name
    if not path.resolve().is_relative_to(folder.resolve()):
        raise UsageError("the recording lies outside the folder", remedy="put a copy into it")
    if path.is_fifo():
        raise UsageError(
            "a pipe can be read once, and this more often", remedy="save the recording in a file"
        )
    return path


def in_doubt(capture: Capture, step: str) -> Floats:
    """How far behind a rise of the step clock, in steps, the inputs change that may have changed before or behind it.

    In the order in which they come; none where the step line was not recorded, or keeps to no clock.
    """
    changes = _changes(capture, [line for line in capture.lines if line in INPUT_LINES and line != step])
    steps = _Counted.of(capture, step)
    if steps is None or not changes:
        return np.zeros(0)
    behind = _behind(steps.at(np.array([time for time, _, _ in changes])))
    return behind[_doubtful(capture, changes, behind, steps.room)]


def _behind(steps: Floats) -> Floats:
    """How far behind the nearest rise, from -1/2 to 1/2."""
    return np.asarray(steps - np.round(steps))


def _doubtful(capture: Capture, changes: Sequence[_Change], behind: Floats, room: float) -> NDArray[np.bool_]:
    """Which of these may have come before the rise or behind it; what was set at the beginning has not come at all."""
    first = np.array([time <= capture.start for time, _, _ in changes])
    return np.asarray((np.abs(behind) < room) & ~first)


_Change = tuple[float, str, int]


def _changes(capture: Capture, lines: Iterable[str]) -> list[_Change]:
    """When which line goes to which level, in order."""
    return sorted(
        (time, line, level)
        for line in lines
        for time, level in zip(
            capture.lines[line].times.tolist(), capture.lines[line].levels.tolist(), strict=True
        )
        if level != UNKNOWN
    )


def _actions(
    capture: Capture,
    name: str,
    hand: Hand,
    board: Board,
    datasheet: Datasheet,
    other_side: Collection[int],
) -> Sequence[Action]:
    """The recording from where the hand stands."""
    clocked = hand.step_clock.enable and divides(board, datasheet)
    step = datasheet.step.line if datasheet.step and clocked else None
    lines = [line for line in capture.lines if line in INPUT_LINES and line != step]
    if not lines:
        raise CaptureError(
            "no input line is recorded in it", place=name, remedy="map one with --map i0=COLUMN"
        )
    changes = _changes(capture, lines)
    if len(changes) > MOST_CHANGES:
        raise CaptureError(
            f"{len(changes)} changes of the inputs are too many",
            place=name,
            remedy=f"at most {MOST_CHANGES} are played",
        )
    frames, end = _frames(capture, name, changes, hand, board, step, other_side)
    actions: list[Action] = []
    at = 0
    order = np.argsort(frames, kind="stable").tolist()
    for frame, group in groupby(order, key=lambda number: int(frames[number])):
        if frame > at:
            actions.append(Frames(frame - at))
            at = frame
        actions.append(Set({changes[number][1]: changes[number][2] for number in group}))
        at += 1  # a move takes a frame
    if end > at:
        actions.append(Frames(end - at))
    return actions


@frozen
class _Counted:
    """The `rises` of a step line and their numbers, from 0; an instant within `room` steps of one may lie on either
    side of it."""

    rises: Floats
    numbers: Floats
    clock: RecordedClock | None
    room: float

    @staticmethod
    def of(capture: Capture, step: str | None) -> _Counted | None:
        """None where there is no such line, or one that hardly rises."""
        line = capture.lines.get(step or "")
        if line is None:
            return None
        rises: Floats = line.times[(line.levels == 1) & (line.times > capture.start)]
        if len(rises) < 2:
            return None
        every = _Counted(rises, np.arange(len(rises), dtype=np.float64), None, 0.0)
        clock = step_clock(line)
        if clock is None:
            return every
        numbers = np.round(through(rises, clock.capture, clock.steps))
        late = through(rises, clock.capture, clock.steps) - numbers
        room = ROOM * float(np.quantile(np.abs(late), 0.99)) + capture.period * clock.rate
        if room > WILD:
            return every
        # Of the rises that belong to one step the nearest: the others are spikes.
        order = np.lexsort((np.abs(late), numbers))
        kept = np.sort(order[np.diff(numbers[order], prepend=-np.inf) > 0])
        shift = numbers[kept[0]]
        if room < EXACT:
            return _Counted(rises[kept], numbers[kept] - shift, None, 0.0)
        counted = replace(clock, steps=clock.steps - shift)
        return _Counted(rises[kept], numbers[kept] - shift, counted, room)

    def at(self, times: Floats) -> Floats:
        """Instants counted in steps from the first recorded rise; beyond the ends at the mean rate."""
        if self.clock:
            return through(times, self.clock.capture, self.clock.steps)
        rate = float(self.numbers[-1] / (self.rises[-1] - self.rises[0]))
        inside = np.interp(times, self.rises, self.numbers)
        before = np.minimum(times - self.rises[0], 0.0)
        after = np.maximum(times - self.rises[-1], 0.0)
        return np.asarray(inside + (before + after) * rate, dtype=np.float64)


def _frames(
    capture: Capture,
    name: str,
    changes: Sequence[_Change],
    hand: Hand,
    board: Board,
    step: str | None,
    other_side: Collection[int],
) -> tuple[Ints, int]:
    """In which frame from here each change comes, and the recording ends."""
    clock = hand.step_clock
    times = np.array([time for time, _, _ in changes] + [capture.end])
    # Two halves make a step; the frame that brings a rise is the last one of the wait for it.
    first, whole = clock.frames_to_rise(1) - 1, 2 * clock.half
    if capture.unit == "steps" and step:
        steps = times - capture.start - 0.5  # what was seen at a step stands between two rises
    elif counted := _Counted.of(capture, step):
        frames = first + _laid(capture, changes, counted, whole, other_side)
        return np.maximum(frames[:-1], 0).astype(np.int64), max(int(frames[-1]), 0)
    elif capture.unit == "seconds":
        found = np.round((times - capture.start) * float(board.frame_hz)).astype(np.int64)
        return found[:-1], int(found[-1])
    else:
        raise CaptureError("the recording has no times", place=name, remedy="state its sample rate in it")
    found = np.maximum(np.round(first + steps * whole), 0).astype(np.int64)
    return found[:-1], int(found[-1])


def _laid(
    capture: Capture, changes: Sequence[_Change], counted: _Counted, whole: int, other_side: Collection[int]
) -> Floats:
    """In which frame from the first rise on, of so many to a `whole` step, each change comes and the recording ends."""
    steps = counted.at(np.array([time for time, _, _ in changes] + [capture.end]))
    frames: Floats = np.round(steps * whole)
    if not counted.room:
        return frames
    # A hand does not move together with the step line: each change comes before the rise beside it or behind it.
    behind = _behind(steps[:-1])
    doubtful = _doubtful(capture, changes, behind, counted.room)
    early = (behind < 0) ^ (doubtful & np.isin(np.cumsum(doubtful) - 1, [*other_side]))
    rises = np.round(steps[:-1]) * whole
    frames[:-1] = np.where(early, np.minimum(frames[:-1], rises - 1), np.maximum(frames[:-1], rises + 1))
    for line in {line for _, line, _ in changes}:
        its = [number for number, change in enumerate(changes) if change[1] == line]
        frames[its] = np.maximum.accumulate(frames[its])
    return frames
