"""Whether a procedure can be carried out on a design: lines, step clock, restart and buttons."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import field, replace

from forelight.sim.errors import DatasheetError
from forelight.sim.frozen import mutable

from ..datasheet import INPUT_LINES, Datasheet
from .actions import (
    Action,
    Disable,
    Drive,
    Enable,
    LetGo,
    Oscillator,
    Press,
    Pulse,
    Release,
    Repeat,
    Select,
    Set,
    Steps,
    Strap,
)
from .contention import RefusedError
from .refusals import Situation, refuse
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
    chained: bool = True,
) -> None:
    """Refuse what cannot be done on this design, and on the board as far as its numbers are given.

    `slot` is the design's own; once another slot is selected only the board's numbers are checked. The switches are
    idle at first, but for `levels`; `pulls` are the board's. With `chained` nothing reaches the design without the
    oscillator, and the switches hold the strap code.
    """
    check_bounds(actions, where)
    switches = {line: datasheet.idle >> bit & 1 for bit, line in enumerate(INPUT_LINES)} | dict(levels or {})
    clocked = clocked_at_start(actions)
    board = Situation(
        datasheet,
        switches,
        clocked,
        None,
        pulls=pulls or {},
        slot_count=slot_count,
        codes=codes,
        buttons=buttons,
        chained=chained,
        strapped=chained,
    )
    bench = _BenchState(datasheet, slot, board, switches, clocked)
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


@mutable
class _BenchState:
    """What is switched, held and selected so far."""

    datasheet: Datasheet
    slot: int | None
    board: Situation  # what does not change
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
        try:
            refuse(action, self._situation())
        except RefusedError as error:
            raise DatasheetError(
                f'"{to_text(action)}": {error.found}', place=place, remedy=error.remedy
            ) from None
        self._do(action)

    def _situation(self) -> Situation:
        step = self.datasheet.step
        return replace(
            self.board,
            switches=self.switches,
            clocked=self.clocked,
            clock_line=step.line if step and self.here else None,
            here=self.here,
            oscillator=self.oscillator,
            held=self.held,
            driven=self.driven,
        )

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
