"""How the switches must stand for a slot, and how many of them a hand moves from one slot to the next."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from functools import lru_cache

from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.check import clocked_at_start
from forelight.designs.procedures.procedure import Procedure, Set, of_run
from forelight.sim.frozen import frozen

from ..boards.divider import codes_for
from ..boards.profile import Board
from ..hand.routine import USUAL_HZ, bring_up, divides


@frozen
class Setup:
    """The code that the divider keeps, None where it drives nothing, and the levels of the inputs, bit 0 first."""

    code: int | None
    inputs: int


@frozen
class Walk:
    """The switches of a board as hands move them: they hold the strap code at one instant and the inputs after it, but
    where a divider that runs keeps the code that it has. On a direct link the code is a setting of its own."""

    strapped: bool

    def moves(self, before: Setup, after: Setup) -> int:
        """How many switches are moved; a setting of its own counts as one."""
        apart = (before.inputs ^ after.inputs).bit_count()
        if after.code is None or after.code == before.code:
            return apart
        if not self.strapped:
            return 1 + apart
        return (before.inputs ^ after.code).bit_count() + (after.code ^ after.inputs).bit_count()

    def then(self, before: Setup, after: Setup) -> Setup:
        """How they stand afterwards: plain logic leaves the divider as it is."""
        return after if after.code is not None else Setup(before.code, after.inputs)


def usual_run(sheet: Datasheet, tried: Collection[str] = ()) -> Procedure | None:
    """The first run of a datasheet that leaves the step clock to whoever brings the slot up, one that was not tried
    before others; None without one."""
    runs = [run for run in (of_run(sheet, run.name) for run in sheet.runs) if clocked_at_start(run.actions)]
    return min(runs, key=lambda run: run.name in tried, default=None)


class Setups:
    """The set-ups of a board's slots; the strap code of a rate is sought once."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._code = lru_cache(maxsize=None)(lambda hz: codes_for(board, hz)[0].code)

    def of(self, slot: int, sheet: Datasheet) -> Setup:
        """How this slot is brought up if nothing else is said."""
        code = None
        if divides(self._board, sheet):
            code = self._code((sheet.step.wanted_hz if sheet.step else None) or USUAL_HZ)
        before = bring_up(self._board, sheet, slot=slot, code=code, clocked=code is not None)
        levels: dict[str, int] = {}
        for action in before:
            if isinstance(action, Set):
                levels |= action.levels
        return Setup(code, sum(level << int(line[1:]) for line, level in levels.items()))


def moved(before: int, after: int) -> Iterator[str]:
    """The input lines whose switches differ, each with its new level."""
    for bit in range(8):
        if (before ^ after) >> bit & 1:
            yield f"i{bit}={after >> bit & 1}"
