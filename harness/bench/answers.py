"""The rows of a run in which attachments answer the design: every frame of a chain, phase by phase."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.contention import CAUTION
from forelight.sim.errors import UsageError
from numpy.typing import NDArray

from ..attach.wired_memory import MOVES, PHASES, WiredMemory
from ..boards.profile import Board
from ..hand.timeline import MOST_CHANGES, Frames, Lines


def every_frame(frames: Frames, values: Lines, spans: Sequence[tuple[int, int]]) -> tuple[Frames, Lines]:
    """All frames of the spans (first, end), and the inputs in each, given when they change and to what.

    Raises UsageError for a run with more rows than fit in memory.
    """
    total = sum(end - first for first, end in spans)
    if total * len(PHASES) > MOST_CHANGES:
        raise UsageError(
            f"the procedure comes to {total} frames in which a memory may answer",
            remedy=f"at most {MOST_CHANGES // len(PHASES)} are run; make it shorter",
        )
    every = np.concatenate([np.arange(first, end, dtype=np.int64) for first, end in spans])
    return every, values[np.searchsorted(frames, every, side="right") - 1]


def in_phases(values: Lines, before: int, width: int) -> Lines:
    """The rows of each frame: `width` bits of inputs, which move in one of them, and the phase lines above.

    `before` are the inputs before the first frame.
    """
    rows = np.empty((len(values), len(PHASES)), np.uint16)
    rows[:, MOVES:] = values[:, None]
    rows[0, :MOVES] = before
    rows[1:, :MOVES] = values[:-1, None]
    return (rows | np.array(PHASES, np.uint16) << np.uint16(width)).ravel()


def check_contention(
    board: Board, memories: Sequence[WiredMemory], ticks: Frames, values: Lines, driven: NDArray[Any]
) -> None:
    """Refuse a run in which a switch is closed while a memory drives its line.

    `driven` is a mask of the inputs that are driven, for each of `values` and `ticks`. Raises UsageError.
    """
    for memory in memories:
        line = INPUT_LINES[memory.bit]
        pull = board.pulls.get(line, 0)
        fights = np.flatnonzero((driven >> memory.bit & 1) & ((values >> memory.bit & 1) != pull))
        if len(fights):
            when = int(ticks[fights[0]]) / board.oscillator_hz
            raise UsageError(
                f"at {when:.6f} s the switch of {line} is closed while the serial memory drives the line; {CAUTION}",
                remedy=f"leave {line} at {pull} while the memory is read",
            )
