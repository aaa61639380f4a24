"""The board's divider as the hand at the bench meets it: enabled or not, and how long until the next rise."""

from __future__ import annotations

from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Action, to_text
from forelight.sim.errors import UsageError

from ..boards.profile import Board


class StepClock:
    """`phase` counts frames since the divider saw its enable; it toggles every `half` of them."""

    def __init__(self) -> None:
        self.enable = False
        self.started = False  # whether the divider has seen the enable
        self.phase = 0
        self.half = 1

    @property
    def starts(self) -> bool:
        """Whether the next frame is the first one with the enable."""
        return self.enable and not self.started

    def start(self, half: int) -> None:
        self.phase, self.half = 0, half

    def advance(self, frames: int) -> None:
        self.phase += frames

    def frames_to_rise(self, count: int) -> int:
        """Frames from here to the end of the one in which the step clock rises for the count-th time."""
        if count < 1:
            return 1
        # Rises come at the phases half, 3 half, 5 half ...; `passed` of them lie before this frame.
        passed = (self.phase + self.half - 1) // (2 * self.half)
        return self.half * (2 * (passed + count) - 1) - self.phase + 1

    def need(self, action: Action, board: Board, datasheet: Datasheet, reached: bool) -> None:
        """Raise UsageError where no step would ever come; `reached` says that the divider is on the step line."""
        if not self.enable:
            raise UsageError(
                f"{to_text(action)}: the step clock is off", remedy="use strap or enable before it"
            )
        if not reached:
            line = datasheet.step.line if datasheet.step else ""
            raise UsageError(
                f"{to_text(action)}: the step clock of {board.name} is on {board.step_line}, "
                f"the step line of {datasheet.name} is {line}",
                remedy="make steps by hand with pulse",
            )


def need_oscillator(action: Action, running: bool) -> None:
    """Raise UsageError for a wait in which nothing would move."""
    if not running:
        raise UsageError(
            f"{to_text(action)}: nothing moves while the oscillator is off",
            remedy="switch the oscillator on first",
        )
