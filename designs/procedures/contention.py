"""Two drivers on one line: when a source from outside may drive an input, and what stands against it."""

from __future__ import annotations

from forelight.sim.frozen import frozen

from ..datasheet import INPUT_LINES, Datasheet
from .actions import Action, Enable, Press, Pulse, Release, Restart, Set, Strap

CAUTION = (
    "two sources on one line would fight, and either can be damaged: the board's own documents come first"
)


def contact_word(pull: int | None, level: int) -> str:
    """Whether a switch is open or closed when its line is at a level: open is where the pull takes the line.

    Empty where the board does not say where that is.
    """
    if pull is None:
        return ""
    return "open" if level == pull else "closed"


class RefusedError(Exception):
    """An action that cannot be carried out: what stands against it, and what to do.

    Whoever knows where the action was said makes an error for people of it.
    """

    def __init__(self, found: str, remedy: str) -> None:
        self.found, self.remedy = found, remedy
        super().__init__(found)


@frozen
class Contact:
    """What is on an input line at the moment.

    A switch at the level to which the line is pulled is open; at the other it is closed and drives the line.
    """

    line: str
    switch: int
    pull: int = 0
    held: bool = False
    clocked: bool = False
    driven: bool = False

    def check_drive(self) -> None:
        """Raise RefusedError where something else drives the line."""
        if self.switch != self.pull:
            raise RefusedError(
                f"the switch of {self.line} is closed; {CAUTION}", f"write set {self.line}={self.pull} before"
            )
        if self.held:
            raise RefusedError(
                f"the button on {self.line} is held; {CAUTION}", f"write release {self.line} before"
            )
        if self.clocked:
            raise RefusedError(f"the step clock drives {self.line}; {CAUTION}", "write disable before")

    def check_move(self) -> None:
        """Raise RefusedError where the line is driven from outside, so that switch and button must rest."""
        if self.driven:
            raise RefusedError(
                f"{self.line} is driven from outside; {CAUTION}", f"write let go {self.line} before"
            )


def moved_lines(action: Action, datasheet: Datasheet, strapped: bool = True) -> tuple[str, ...]:
    """The lines on which an action moves the switch, the button or the step clock of this design's board."""
    match action:
        case Set(levels):
            return tuple(sorted(levels))
        case Press(line) | Release(line):
            return (line,)
        case Strap() if strapped:
            return INPUT_LINES
        case Strap() | Enable() | Pulse() | Restart():
            role = datasheet.restart if isinstance(action, Restart) else datasheet.step
            return (role.line,) if role and role.line in INPUT_LINES else ()
        case _:
            return ()
