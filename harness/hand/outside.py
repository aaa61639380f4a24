"""Input lines that something beside the board drives."""

from __future__ import annotations

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import Drive, LetGo
from forelight.sim.frozen import mutable


@mutable
class Outside:
    """Lines in `driven` have the levels in `levels`; bit n is line n."""

    driven: int = 0
    levels: int = 0

    def do(self, action: Drive | LetGo) -> None:
        match action:
            case Drive(levels):
                for line, level in levels.items():
                    bit = INPUT_LINES.index(line)
                    self.driven |= 1 << bit
                    self.levels = self.levels & ~(1 << bit) | level << bit
            case LetGo(lines):
                for line in lines:
                    self.driven &= ~(1 << INPUT_LINES.index(line))
                self.levels &= self.driven

    def over(self, levels: int) -> int:
        """The levels of the pins, given those that switches and buttons come to."""
        return levels & ~self.driven | self.levels
