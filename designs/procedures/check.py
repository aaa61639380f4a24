"""Whether a procedure can be carried out on a design: lines, step clock, restart and buttons."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from forelight.sim.errors import DatasheetError

from ..datasheet import INPUT_LINES, Datasheet
from .actions import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Press,
    Pulse,
    Release,
    Repeat,
    Restart,
    Select,
    Set,
    Steps,
    Strap,
)
from .contention import Contact, ContentionError, moved_lines
from .text import Where, check_bounds, place_of, to_text


def clocked_at_start(actions: Sequence[Action]) -> bool:
    """Whether the step clock runs when the procedure begins.

    It does unless the procedure itself straps or enables it, or makes steps by hand, before it waits for
    steps or switches the clock off.
    """
    first = _first_clock_action(actions)
    return not isinstance(first, (Strap, Enable, Pulse))


def check(
    actions: Sequence[Action],
    datasheet: Datasheet,
    where: Where = "",
    *,
    slot: int | None = None,
    slot_count: int | None = None,
    codes: int | None = None,
    buttons: Collection[str] | None = None,
    pulls: Mapping[str, int] | None = None,
    levels: Mapping[str, int] | None = None,
) -> None:
    """Refuse what cannot be done on this design, and on the board as far as its numbers are given.

    `slot` is the design's own; once another slot is selected only the board's numbers are checked. The switches are
    idle at first, but for `levels`; `pulls` are the board's.
    """
    check_bounds(actions, where)
    switches = {line: datasheet.idle >> bit & 1 for bit, line in enumerate(INPUT_LINES)} | dict(levels or {})
    bench = _BenchState(
        datasheet, slot, slot_count, codes, buttons, pulls or {}, switches, clocked=clocked_at_start(actions)
    )
    for number, action in enumerate(actions, 1):
        bench.walk(action, place_of(where, number))


def _first_clock_action(actions: Sequence[Action]) -> Action | None:
    for action in actions:
        if isinstance(action, Repeat):
            inner = _first_clock_action(action.actions)
            if inner:
                return inner
        elif isinstance(action, (Strap, Enable, Disable, Steps, Pulse)):
            return action
    return None


class _CannotError(Exception):
    """An action that cannot be done: what stands against it, and what to do."""


@dataclass
class _BenchState:
    """What is switched, held and selected so far."""

    datasheet: Datasheet
    slot: int | None
    slot_count: int | None
    codes: int | None
    buttons: Collection[str] | None
    pulls: Mapping[str, int]
    switches: dict[str, int]
    clocked: bool
    oscillator: bool = True
    here: bool = True
    held: set[str] = field(default_factory=set)
    driven: set[str] = field(default_factory=set)

    def walk(self, action: Action, place: str) -> None:
        if isinstance(action, Repeat):
            # The second round begins as the first ended; later ones add nothing new.
            for _ in range(min(action.count, 2)):
                for number, inner in enumerate(action.actions, 1):
                    self.walk(inner, f"{place}.{number}")
            return
        text = to_text(action)
        try:
            self._board(action)
            self._contention(action)
            if self.here:
                self._design(action)
        except _CannotError as error:
            found, remedy = error.args
            raise DatasheetError(f'"{text}": {found}', place=place, remedy=remedy) from None
        except ContentionError as error:
            raise DatasheetError(f'"{text}": {error.found}', place=place, remedy=error.remedy) from None
        self._do(action)

    def _board(self, action: Action) -> None:
        match action:
            case Select(slot) if self.slot_count is not None and slot >= self.slot_count:
                raise _CannotError(f"there is no slot {slot}", f"the slots are 0 to {self.slot_count - 1}")
            case Strap(code) if self.codes is not None and code >= self.codes:
                raise _CannotError(f"there is no strap code {code}", f"the codes are 0 to {self.codes - 1}")
            case Press(line) if self.buttons is not None and line not in self.buttons:
                known = ", ".join(sorted(self.buttons)) or "none"
                raise _CannotError(f"no button sits on {line}", f"lines with buttons: {known}; or use set")
            case Press(line) if line in self.held:
                raise _CannotError("the button is held already", f"write release {line} before")
            case Release(line) if line not in self.held:
                raise _CannotError("the button is not held", f"write press {line} before")
            case Steps() | Frames() | Restart() | Pulse() if not self.oscillator:
                raise _CannotError("nothing moves while the oscillator is off", "write oscillator on before")
            case _:
                pass

    def _contention(self, action: Action) -> None:
        """Refuse two drivers on one line, and to let go of what is not driven."""
        for line in moved_lines(action, self.datasheet):
            self._contact(line).check_move()
        match action:
            case Drive(levels):
                for line in sorted(levels):
                    self._contact(line).check_drive()
            case LetGo(lines):
                for line in lines:
                    if line not in self.driven:
                        raise _CannotError(
                            f"nothing drives {line} from outside", f"write drive {line}=1 before"
                        )
            case _:
                pass

    def _contact(self, line: str) -> Contact:
        step = self.datasheet.step
        return Contact(
            line,
            self.switches[line],
            self.pulls.get(line, 0),
            held=line in self.held,
            clocked=self.here and self.clocked and step is not None and step.line == line,
            driven=line in self.driven,
        )

    def _design(self, action: Action) -> None:
        step, restart, name = self.datasheet.step, self.datasheet.restart, self.datasheet.name
        lines = (
            action.levels if isinstance(action, Set) else (action.line,) if isinstance(action, Press) else ()
        )
        match action:
            case Restart() if restart is None:
                raise _CannotError(f"{name} has no restart line", "leave it out, or state [restart]")
            case Steps() | Pulse() | Strap() | Enable() | Disable() if step is None:
                raise _CannotError(f"{name} has no step line", "use frames or wait, or state [step]")
            case Steps() if not self.clocked:
                raise _CannotError("the step clock is off", "write strap or enable before, or use pulse")
            case Pulse() if self.clocked:
                raise _CannotError("the step clock is on", "write disable before, or use steps")
            case Set() | Press() if step and self.clocked and step.line in lines:
                raise _CannotError(
                    f"the step clock drives {step.line}", "write disable before, or leave it out"
                )
            case _:
                pass

    def _do(self, action: Action) -> None:
        match action:
            case Strap() | Enable():
                self.clocked = True
            case Disable():
                self.clocked = False
            case Oscillator(on):
                self.oscillator = on
            case Set(levels):
                self.switches.update(levels)
            case Drive(levels):
                self.driven.update(levels)
            case LetGo(lines):
                self.driven.difference_update(lines)
            case Press(line):
                self.held.add(line)
            case Release(line):
                self.held.discard(line)
            case Select(slot):
                self.here = slot == self.slot
            case _:
                pass
