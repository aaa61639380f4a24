"""What is in a board's slots, and what an empty one shows."""

from __future__ import annotations

from forelight.designs.catalogue import Found, Roster, resolve
from forelight.designs.datasheet import OUTPUT_LINES

from .profile import Board


def roster(board: Board) -> Roster:
    """The board's slots as the catalogue wants them."""
    return Roster(
        board=board.name,
        slot_count=board.slot_count,
        slots=board.slots,
        beside=board.folder,
        step_line=board.step_line,
        restart_line=board.restart_line,
    )


def find(board: Board, text: str) -> Found:
    """The design that SLOT means on this board; an empty slot is an `EmptySlotError`."""
    return resolve(text, roster(board))


def empty_slot(board: Board, slot: int) -> str:
    """What a person sees who selects an empty slot of this board, in one sentence."""
    high = [line for bit, line in enumerate(OUTPUT_LINES) if board.empty_outputs >> bit & 1]
    levels = "all eight outputs stay 0" if not high else "all eight outputs stay 1"
    if 0 < len(high) < 8:
        levels = f"{', '.join(high)} stay 1 and the other outputs 0"
    lit = [board.display[line] for line in high if line in board.display]
    shows = (
        "" if not board.display else f", and the display {'shows ' + ', '.join(lit) if lit else 'stays dark'}"
    )
    return f"Slot {slot} of {board.name} is empty: {levels} whatever the inputs do{shows}."
