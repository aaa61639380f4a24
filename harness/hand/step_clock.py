"""The board's divider as the hand at the bench meets it: enabled or not, and how long until the next rise."""

from __future__ import annotations

from forelight.sim.frozen import mutable


@mutable
class StepClock:
    """`phase` counts frames since the divider saw its enable; it toggles every `half` of them."""

    enable: bool = False
    started: bool = False  # whether the divider has seen the enable
    phase: int = 0
    half: int = 1

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
