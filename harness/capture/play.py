"""Inputs played from a recording: what a hand did on the bench, as actions that a prediction can carry out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Action, Frames, Play, Procedure, Set, to_text
from forelight.designs.procedures.text import Where, place_of
from forelight.sim.errors import CaptureError, UsageError
from forelight.sim.levels import UNKNOWN

from ..boards.profile import Board
from ..hand.hand import Hand
from ..hand.routine import divides
from .readers import NO_MAPPING, read_capture
from .record import Capture, Floats

#: Changes of the inputs that one recording may have.
MOST_CHANGES = 1 << 20


def played(
    procedure: Procedure,
    board: Board,
    datasheet: Datasheet,
    slot: int = 0,
    mapping: Mapping[str, str] = NO_MAPPING,
    *,
    before: Sequence[Action] = (),
    where: Where = "",
) -> Procedure:
    """The procedure with each `Play` replaced by waits and settings of the inputs, change by change.

    `before` is done before it; `where` is what an error shall name. If the recording holds the step line, and the step
    clock runs, its steps are laid on those of the procedure: the next rise of the step clock is the first one recorded.
    Without a step line its times count. A level that was not recorded leaves the line as it is. Raises CaptureError or
    UsageError for a recording that cannot be played.
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
            more = _actions(recording, action.file, hand, board, datasheet)
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
    return path


def _actions(capture: Capture, name: str, hand: Hand, board: Board, datasheet: Datasheet) -> Sequence[Action]:
    """The recording from where the hand stands."""
    clocked = hand.step_clock.enable and divides(board, datasheet)
    step = datasheet.step.line if datasheet.step else None
    lines = {
        line: found
        for line, found in capture.lines.items()
        if line in INPUT_LINES and not (clocked and line == step)
    }
    if not lines:
        raise CaptureError(
            "no input line is recorded in it", place=name, remedy="map one with --map i0=COLUMN"
        )
    changes = [
        (time, line, level)
        for line, found in lines.items()
        for time, level in zip(found.times.tolist(), found.levels.tolist(), strict=True)
        if level != UNKNOWN
    ]
    if len(changes) > MOST_CHANGES:
        raise CaptureError(
            f"{len(changes)} changes of the inputs are too many",
            place=name,
            remedy=f"at most {MOST_CHANGES} are played",
        )
    changes.sort()
    times = np.array([time for time, _, _ in changes] + [capture.end])
    frames = _frames(capture, name, times, hand, board, step if clocked else None)
    actions: list[Action] = []
    at = 0
    for frame, group in groupby(zip(frames[:-1].tolist(), changes, strict=True), key=lambda pair: pair[0]):
        if frame > at:
            actions.append(Frames(frame - at))
            at = frame
        actions.append(Set({line: level for _, (_, line, level) in group}))
        at += 1  # a move takes a frame
    if frames[-1] > at:
        actions.append(Frames(int(frames[-1]) - at))
    return actions


def _frames(
    capture: Capture, name: str, times: Floats, hand: Hand, board: Board, step: str | None
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """In which frame from here each instant of the recording lies."""
    clock = hand.step_clock
    recorded = capture.lines.get(step or "")
    rises: Floats = np.zeros(0)
    if recorded is not None:
        rises = recorded.times[(recorded.levels == 1) & (recorded.times > capture.start)]
    if capture.unit == "steps" and step:
        steps = times - capture.start - 0.5  # what was seen at a step stands between two rises
    elif len(rises) > 1:
        steps = _steps(times, rises)
    elif capture.unit == "seconds":
        return np.round((times - capture.start) * float(board.frame_hz)).astype(np.int64)
    else:
        raise CaptureError("the recording has no times", place=name, remedy="state its sample rate in it")
    # Two halves make a step; the frame that brings a rise is the last one of the wait for it.
    first = clock.frames_to_rise(1) - 1
    found = np.round(first + steps * 2 * clock.half)
    return np.maximum(found, 0).astype(np.int64)


def _steps(times: Floats, rises: Floats) -> Floats:
    """Instants counted in steps from the first recorded rise; beyond the ends at the mean rate."""
    length = float(rises[-1] - rises[0]) / (len(rises) - 1)
    inside = np.interp(times, rises, np.arange(len(rises)))
    before, after = np.minimum(times - rises[0], 0.0), np.maximum(times - rises[-1], 0.0)
    return np.asarray(inside + (before + after) / length, dtype=np.float64)
