"""The buttons beside the switches, and when the board takes a change of them: at once, or debounced."""

from __future__ import annotations

import math

from forelight.designs.datasheet import INPUT_LINES

from ..boards.profile import Board

#: When a bouncing contact changes again after its first touch, in seconds; an even number of changes, so that it
#: comes to rest. Of 18 switches, 16 were measured to bounce for 1557 us on average and 6200 us at worst; the two that
#: are left out of these figures bounced far longer, up to some 150 ms (Ganssle, A Guide to Debouncing; the last from
#: memory).
BOUNCES = (0.0003, 0.0005, 0.0011, 0.0016, 0.0034, 0.0046)


class Buttons:
    """`held` are the buttons as held, `taken` as their lines take them: bit n for the button on line n.

    Times are frames in which the oscillator ran; `due` maps a line to when its button will be taken.
    """

    def __init__(self, board: Board) -> None:
        self.board = board
        self.held = 0
        self.taken = 0
        self.due: dict[int, int] = {}

    def move(self, line: str, down: bool, now: int) -> None:
        """Press or let go of the button on a line."""
        self.settle(now)
        bit = INPUT_LINES.index(line)
        self.held = self.held & ~(1 << bit) | down << bit
        wait = math.ceil(self.board.debounce.get(line, 0) / self.board.frame_ticks)
        if (self.held ^ self.taken) >> bit & 1:
            self.due.setdefault(bit, now + wait)
        else:  # back before it counted
            self.due.pop(bit, None)

    def settle(self, now: int) -> None:
        """Take what is due."""
        for bit in [bit for bit, due in self.due.items() if due <= now]:
            self.taken = self.taken & ~(1 << bit) | self.held & 1 << bit
            del self.due[bit]

    def copy(self) -> Buttons:
        """The same buttons, held as these are."""
        found = Buttons(self.board)
        found.held, found.taken, found.due = self.held, self.taken, dict(self.due)
        return found
