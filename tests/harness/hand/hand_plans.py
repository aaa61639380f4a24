"""Small boards on which an ideal hand carries out actions, and what the lines then carry."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from forelight.designs.datasheet import Datasheet, RestartLine, StepLine
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.harness.boards.profile import Board
from forelight.harness.hand.timeline import Timeline, timeline

SHEET = Datasheet(
    "own", Path(), "", (), None, "amaranth", step=StepLine("i7"), restart=RestartLine("i6"), lines={}
)
CHAIN = Board(
    "small", "", 48_000, "chain", {}, 3, positions=3, ticks_per_bit=2, buttons={"i0": "PUSH", "i7": "STEP"}
)
DIRECT = Board("straight", "", 1000, "direct", {}, 3, codes=99, step_line="own", restart_line="own")


def plan(*actions: str, board: Board = CHAIN, sheet: Datasheet = SHEET, **other: Any) -> Timeline:
    return timeline(board, sheet, Procedure("test", parse(actions)), **other)


def table(found: Timeline) -> list[tuple[int, str]]:
    """Frame and lines of each change, bit 7 first."""
    digits = 8 if found.board.link == "chain" else 10
    return [
        (frame, f"{lines:0{digits}b}")
        for frame, lines in zip(found.frames.tolist(), found.lines.tolist(), strict=True)
    ]


def rises(found: Timeline, bit: int) -> list[int]:
    """Frames in which a line rises."""
    levels = (found.lines >> bit & 1).astype(np.int8)
    return [int(frame) for frame in found.frames[np.diff(levels, prepend=np.int8(0)) == 1]]
