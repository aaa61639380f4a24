"""Input lines that something beside the board drives, and the refusal to have two drivers on one line."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.contention import Contact, ContentionError
from forelight.designs.procedures.procedure import Action, Drive, LetGo, to_text
from forelight.sim.errors import UsageError


class Outside:
    """Lines in `driven` have the levels in `levels`; bit n is line n. `contact` tells what else is on a line."""

    def __init__(self, contact: Callable[[str], Contact]) -> None:
        self.driven = 0
        self.levels = 0
        self._contact = contact

    def do(self, action: Drive | LetGo) -> None:
        """Raises UsageError where something on the board drives a line already."""
        match action:
            case Drive(levels):
                for line, level in sorted(levels.items()):
                    self._check(self._contact(line).check_drive, action)
                    bit = INPUT_LINES.index(line)
                    self.driven |= 1 << bit
                    self.levels = self.levels & ~(1 << bit) | level << bit
            case LetGo(lines):
                for line in lines:
                    self.driven &= ~(1 << INPUT_LINES.index(line))
                self.levels &= self.driven

    def let_be(self, lines: Iterable[str], action: Action) -> None:
        """Raises UsageError where the action would move switch or button of a driven line."""
        for line in sorted(lines):
            self._check(self._contact(line).check_move, action)

    def over(self, levels: int) -> int:
        """The levels of the pins, given those that switches and buttons come to."""
        return levels & ~self.driven | self.levels

    def _check(self, check: Callable[[], None], action: Action) -> None:
        try:
            check()
        except ContentionError as error:
            raise UsageError(f"{to_text(action)}: {error.found}", remedy=error.remedy) from None
