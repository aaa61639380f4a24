"""Memories that answer a design: how they are wired, and the rows of a frame in which they and the board move.

`answering.py` makes hardware of them.
"""

from __future__ import annotations

from forelight.designs.datasheet import INPUT_LINES, Attachment, Datasheet
from forelight.designs.sheets.attachments import KINDS
from forelight.sim.frozen import frozen

from .image import read_image

#: The two phase lines (the second one above the first) in the rows of a frame: pins are sampled and outputs captured;
#: an answer that wins the race against the board's lines arrives; those lines move; one that loses it arrives; rest.
PHASES = (0b01, 0b11, 0b11, 0b10, 0b00)
#: The row in which the board's lines move.
MOVES = 2


@frozen
class WiredMemory:
    """A serial memory as it is wired: terminal -> line, or `low` or `high`; and what is in it."""

    attachment: Attachment
    data: bytes

    @property
    def bit(self) -> int:
        """Which input it drives."""
        return INPUT_LINES.index(self.attachment.lines["so"])


def memories(datasheet: Datasheet) -> tuple[WiredMemory, ...]:
    """The memories that a datasheet names, with their images read. Raises SourceError for one that cannot be used."""
    return tuple(
        WiredMemory(one, read_image(datasheet.folder / str(one.options["image"])))
        for one in datasheet.attach
        if KINDS[one.kind].drives
    )
