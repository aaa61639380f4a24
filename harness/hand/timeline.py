"""Procedure, board and datasheet to a timeline: what the lines carry, change by change, in frame numbers.

It holds to DEVELOPERS.md, Time 1 to 3 and 6.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Procedure
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen
from numpy.typing import NDArray

from ..boards.profile import Board
from ..chip.routing import divided_line
from .hand import Hand
from .leads import STRAIGHT, Lead
from .ledger import Ledger
from .stretch import Stretch

Frames = NDArray[np.int64]
Lines = NDArray[np.uint16]

#: Changes of the lines that one run may have; each takes some 30 bytes on its way to a golden.
MOST_CHANGES = 1 << 26


@frozen
class Timeline:
    """What the link carries to whichever slot is selected; pure data.

    In frame `frames[k]` (rising, the first is 0) the lines become `lines[k]`: bits 0 to 7 are the eight
    inputs, 8 and 9 the board's own step and restart line. On a chain that is at the end of the frame, on a
    direct link in that very tick. From frame `turns[k]` on (rising, the first is 0), slot `slots[k]` is
    selected. The run has `end` frames, the last of which shows the answer to the procedure's last action. A
    chain whose oscillator is off has no frames: before frame `pauses[k, 0]` it stood still for the length of
    `pauses[k, 1]` frames. `stretches` is what the hand did, frame for frame.
    """

    board: Board
    frames: Frames
    lines: Lines
    turns: Frames
    slots: NDArray[np.int64]
    end: int
    pauses: NDArray[np.int64]
    stretches: tuple[Stretch, ...]

    @property
    def latency(self) -> int:
        """Frames from a change of the design's inputs to the board's output pins."""
        return 1 if self.board.link == "chain" else 0

    def ticks(self, frames: Frames) -> Frames:
        """The tick in which lines and pins take what these frames bring: a frame's last, or the very tick."""
        found = self.start_ticks(frames)
        found += self.board.frame_ticks - 1
        return found

    def start_ticks(self, frames: Frames) -> Frames:
        """The first tick of these frames, counted from the start of the procedure."""
        found = frames * self.board.frame_ticks
        if len(self.pauses):
            passed = np.concatenate(([0], np.cumsum(self.pauses[:, 1]))) * self.board.frame_ticks
            found += passed[np.searchsorted(self.pauses[:, 0], frames, side="right")]
        return found


def timeline(
    board: Board,
    datasheet: Datasheet,
    procedure: Procedure,
    *,
    slot: int = 0,
    contacts: int = 0xFF,
    leads: Sequence[Lead] = STRAIGHT,
) -> Timeline:
    """The lines of a whole procedure; `slot` is where the selector stands at first, the rest as `Hand` has it.

    Raises UsageError for an action that cannot be carried out, or a run with more changes than fit in memory.
    """
    hand = Hand(board, datasheet, slot, contacts, leads)
    hand.do(procedure.actions)
    hand.finish()
    track = Track(hand)
    track.follow()
    return track.timeline()


class Track:
    """What the link carries, written down as a hand goes on."""

    def __init__(self, hand: Hand, most: int = MOST_CHANGES) -> None:
        self.hand, self.most = hand, most
        self._followed = 0  # stretches of the hand
        self._columns = tuple(Ledger(kind) for kind in (np.int64, np.uint16, np.int64, np.int64))

    def follow(self) -> None:
        """Write down what the hand has done since the last time.

        Raises UsageError where there are more changes than fit in memory.
        """
        stretches = self.hand.stretches[self._followed :]
        counts = [_changes(stretch) for stretch in stretches]
        total = len(self._columns[0]) + sum(counts)
        if total > self.most:
            raise UsageError(
                f"the procedure comes to {total} changes of the lines",
                remedy=f"at most {self.most} are kept; make it shorter, or step slower",
            )
        self._followed += len(stretches)
        frames = np.empty(sum(counts), np.int64)
        lines = np.empty(sum(counts), np.uint16)
        divided = divided_line(self.hand.board)
        at = 0
        for stretch, count in zip(stretches, counts, strict=True):
            offsets, levels = _spread(stretch, count, divided)
            frames[at : at + count] = offsets + stretch.start
            lines[at : at + count] = levels
            at += count
        turns = np.array([stretch.start for stretch in stretches], np.int64)
        slots = np.array([stretch.slot for stretch in stretches], np.int64)
        for column, rows in zip(self._columns, self._fresh(frames, lines, turns, slots), strict=True):
            column.append(rows)

    def _fresh(
        self, frames: Frames, lines: Lines, turns: Frames, slots: Frames
    ) -> tuple[Frames | Lines, ...]:
        kept = _changed(lines, self._columns[1].rows[-1:])
        turned = _changed(slots, self._columns[3].rows[-1:])
        return frames[kept], lines[kept], turns[turned], slots[turned]

    def timeline(self) -> Timeline:
        """All that was written down, as far as it goes; valid until more is."""
        frames, lines, turns, slots = (column.rows for column in self._columns)
        return Timeline(
            board=self.hand.board,
            frames=frames,
            lines=lines,
            turns=turns,
            slots=slots,
            end=self.hand.frame,
            pauses=np.array(self.hand.pauses, np.int64).reshape(-1, 2),
            stretches=tuple(self.hand.stretches),
        )

    def snapshot(self) -> tuple[int, ...]:
        """How much there is, to give back to `restore`."""
        return (self._followed, *map(len, self._columns))

    def restore(self, snapshot: tuple[int, ...]) -> None:
        """Forget what was written down since."""
        self._followed, *lengths = snapshot
        for column, length in zip(self._columns, lengths, strict=True):
            column.cut(length)


def _spread(stretch: Stretch, count: int, divided: int) -> tuple[Frames | int, Lines | int]:
    """The frames of a stretch, counted from its start, that may bring a change, and the lines in each."""
    bit = 1 << divided
    level = stretch.levels
    if stretch.enable:
        level = level & ~bit | (stretch.phase // stretch.half & 1) << divided
    if count == 1:
        return 0, level ^ stretch.pulsing
    toggles = np.full(count, level, np.uint16)
    if not stretch.pulsing:  # the divider alone: every change is a toggle
        toggles[1::2] ^= np.uint16(bit)
        first = -(stretch.phase % stretch.half)
        offsets = np.arange(first, stretch.length, stretch.half, dtype=np.int64)
        offsets[0] = 0
        return offsets, toggles
    parts = [np.arange(0, stretch.length, stretch.beat, dtype=np.int64)]
    if stretch.enable and stretch.running:
        first = stretch.half - stretch.phase % stretch.half
        parts.append(np.arange(first, stretch.length, stretch.half, dtype=np.int64))
    offsets = np.sort(np.concatenate(parts))
    toggles ^= np.where(offsets // stretch.beat % 2 == 0, stretch.pulsing, 0).astype(np.uint16)
    if stretch.enable and stretch.running:
        turned = ((stretch.phase + offsets) // stretch.half ^ stretch.phase // stretch.half) & 1
        toggles ^= (turned << divided).astype(np.uint16)
    return offsets, toggles


def _changed(column: NDArray[Any], before: NDArray[Any]) -> NDArray[np.bool_]:
    """Which rows differ from the row before; `before` is the one before the first, or nothing."""
    kept = np.ones(len(column), bool)
    kept[1:] = column[1:] != column[:-1]
    if len(before) and len(column):
        kept[0] = column[0] != before[-1]
    return kept


def _changes(stretch: Stretch) -> int:
    """How many frames of a stretch may bring a change."""
    beats = (stretch.length - 1) // stretch.beat if stretch.pulsing else 0
    if not (stretch.enable and stretch.running):
        return 1 + beats
    return 1 + beats + (stretch.phase % stretch.half + stretch.length - 1) // stretch.half
