"""What cannot be done at the bench as it stands, in one set of words for all who carry actions out or check them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import field

from forelight.sim.frozen import frozen

from ..datasheet import Datasheet
from .actions import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Press,
    Pulse,
    Release,
    Restart,
    Select,
    Set,
    Steps,
    Strap,
)
from .contention import Contact, RefusedError, moved_lines


@frozen
class Situation:
    """The bench at the moment at which an action would begin; None for numbers of a board that is not known.

    `clocked` is whether the step clock is on, `clock_line` the input line that its divider is wired to, and `reached`
    whether that is the design's step line. `here` is whether the design of the datasheet is selected: another one has
    other lines. `chained` and `strapped` are the board's.
    """

    datasheet: Datasheet
    switches: Mapping[str, int]
    clocked: bool
    clock_line: str | None
    here: bool = True
    reached: bool = True
    oscillator: bool = True
    held: Collection[str] = ()
    driven: Collection[str] = ()
    pulls: Mapping[str, int] = field(default_factory=dict)
    slot_count: int | None = None
    codes: int | None = None
    buttons: Collection[str] | None = None
    chained: bool = True
    strapped: bool = True

    def contact(self, line: str) -> Contact:
        """What is on an input line."""
        return Contact(
            line,
            self.switches[line],
            self.pulls.get(line, 0),
            held=line in self.held,
            clocked=self.clocked and self.clock_line == line,
            driven=line in self.driven,
        )


def refuse(action: Action, bench: Situation) -> None:
    """Raise RefusedError for an action (no repeat) that cannot be carried out, or that would do harm."""
    _board(action, bench)
    _contention(action, bench)
    if bench.here:
        _design(action, bench)
    _clock(action, bench)


def _board(action: Action, bench: Situation) -> None:
    still = () if not bench.chained else (Restart, Pulse)
    match action:
        case Select(slot) if bench.slot_count is not None and slot >= bench.slot_count:
            raise RefusedError(f"there is no slot {slot}", f"the slots are 0 to {bench.slot_count - 1}")
        case Strap(code) if bench.codes is not None and code >= bench.codes:
            raise RefusedError(f"there is no strap code {code}", f"the codes are 0 to {bench.codes - 1}")
        case Press(line) | Release(line) if bench.buttons is not None and line not in bench.buttons:
            known = ", ".join(sorted(bench.buttons)) or "none"
            raise RefusedError(f"no button sits on {line}", f"lines with buttons: {known}; or use set")
        case Press(line) if line in bench.held:
            raise RefusedError("the button is held already", f"write release {line} before")
        case Release(line) if line not in bench.held:
            raise RefusedError("the button is not held", f"write press {line} before")
        case Steps() | Frames() if not bench.oscillator:
            raise RefusedError("nothing moves while the oscillator is off", "write oscillator on before")
        case _ if isinstance(action, still) and not bench.oscillator:
            raise RefusedError("nothing moves while the oscillator is off", "write oscillator on before")
        case _:
            pass


def _contention(action: Action, bench: Situation) -> None:
    """Two drivers on one line, and letting go of what is not driven."""
    for line in sorted(moved_lines(action, bench.datasheet, bench.strapped)):
        bench.contact(line).check_move()
    match action:
        case Drive(levels):
            for line in sorted(levels):
                bench.contact(line).check_drive()
        case LetGo(lines):
            for line in lines:
                if line not in bench.driven:
                    raise RefusedError(f"nothing drives {line} from outside", f"write drive {line}=1 before")
        case _:
            pass


def _design(action: Action, bench: Situation) -> None:
    sheet = bench.datasheet
    step, name = sheet.step, sheet.name
    moved = action.levels if isinstance(action, Set) else (action.line,) if isinstance(action, Press) else ()
    match action:
        case Steps() | Pulse() | Strap() | Enable() | Disable() if step is None:
            raise RefusedError(f"{name} has no step line", "use frames or wait, or state [step]")
        case Set() | Press() if bench.clocked and bench.clock_line in moved:
            raise RefusedError(
                f"the step clock drives {bench.clock_line}", "write disable before, or leave it out"
            )
        case _:
            pass


def _clock(action: Action, bench: Situation) -> None:
    """What the hand has no line for: a restart, steps that never come, steps by hand where the divider is."""
    step, name = bench.datasheet.step, bench.datasheet.name
    match action:
        case Restart() if bench.datasheet.restart is None:
            raise RefusedError(f"{name} has no restart line", "leave it out, or state [restart]")
        case Steps() if not bench.clocked:
            raise RefusedError("the step clock is off", "write strap or enable before, or use pulse")
        case Steps() if not bench.reached:
            line = step.line if step else "the design"
            raise RefusedError(
                f"the step clock does not reach {line}, the step line of {name}",
                "make steps by hand with pulse",
            )
        case Pulse() if bench.clocked and bench.reached:
            raise RefusedError("the step clock is on", "write disable before, or use steps")
        case _:
            pass
