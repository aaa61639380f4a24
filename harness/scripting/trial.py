"""A bench for tests: the hand's actions as calls, and what the display shows after each."""

from __future__ import annotations

from pathlib import Path
from typing import SupportsFloat, SupportsIndex

from forelight.designs.procedures.procedure import (
    Action,
    Disable,
    Press,
    Pulse,
    Release,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
    to_text,
)
from forelight.sim.errors import UsageError

from ..bench.live import POWER_UPS, LiveBench
from ..boards.profile import Board
from ..boards.reader import load_board
from ..boards.roster import find
from ..capture.eye import as_character
from ..golden.golden import Golden
from ..hand.routine import bring_up
from ..view.brightness import seen
from ..view.display import ASCII
from ..view.filmstrip import strip
from ..view.pictures import pictures, since
from .asking import Design, as_slot
from .prediction import Moment

#: Pictures of a strip, and its width in columns.
PICTURES, WIDE = 10, 78


class TrialBench:
    """One board; `select` brings a slot up, and the other calls do what a hand does, in their order."""

    def __init__(self, board: str | Path | Board = "quay", power_ups: int = POWER_UPS) -> None:
        self.board = load_board(board)
        self._power_ups = power_ups
        self._live: LiveBench | None = None
        self._up = 0

    def select(
        self,
        design: Design,
        *,
        hz: SupportsFloat | None = None,
        strap: SupportsIndex | None = None,
        **levels: SupportsIndex,
    ) -> TrialBench:
        """Power on, turn the selector, set the inputs to rest but for `levels` (`i0=1`), strap, and restart.

        The rate is that of the code `strap`, or nearest to `hz`, or to what the author wants.
        """
        found = find(self.board, as_slot(design))
        sheet, slot = found.datasheet, found.slot
        code = None if strap is None else strap.__index__()
        rate = None if hz is None else float(hz)
        given = {line: level.__index__() for line, level in levels.items()}
        self._live = LiveBench(self.board, sheet, slot=slot or 0, power_ups=self._power_ups)
        for action in bring_up(self.board, sheet, slot=slot, code=code, hz=rate, levels=given):
            self._live.do(action)
        if sheet.restart is not None:
            self._live.do(Restart())
        self._up = self._live.now
        return self

    @property
    def live(self) -> LiveBench:
        """The bench underneath. Raises UsageError before `select`."""
        if self._live is None:
            raise UsageError("no slot is selected", remedy='call bench.select("tide_gauge") first')
        return self._live

    def do(self, action: Action) -> TrialBench:
        """Carry out one action; a ForelightError for what cannot be done."""
        self.live.do(action)
        return self

    def set(self, **levels: SupportsIndex) -> TrialBench:
        """Set switches, all at one instant: `bench.set(i0=1, i2=0)`."""
        return self.do(Set({line: level.__index__() for line, level in levels.items()}))

    def press(self, line: str) -> TrialBench:
        """Hold the button on an input line."""
        return self.do(Press(line))

    def release(self, line: str) -> TrialBench:
        """Let go of the button."""
        return self.do(Release(line))

    def restart(self, length: SupportsIndex = 2) -> TrialBench:
        """Hold the restart line for so many steps."""
        return self.do(Restart(length.__index__()))

    def steps(self, count: SupportsIndex) -> TrialBench:
        """Wait for so many steps of the step clock."""
        return self.do(Steps(count.__index__()))

    def pulse(self, count: SupportsIndex = 1) -> TrialBench:
        """Make so many steps by hand, with the step clock off."""
        if self.live.standing.enable:
            self.do(Disable())
        return self.do(Pulse(count.__index__()))

    def strap(self, code: SupportsIndex) -> TrialBench:
        """Set the strap code and switch the step clock on."""
        return self.do(Strap(code.__index__()))

    def wait(self, seconds: SupportsFloat) -> TrialBench:
        """Let time pass."""
        return self.do(Seconds(float(seconds)))

    # What there is to see

    @property
    def record(self) -> Golden:
        """All that the pins showed since the slot was up, the answer to the last action included."""
        with self.live.answered():
            golden = self.live.record()
            return since(golden, min(self._up, int(golden.ticks[-1])) if golden.end <= self._up else self._up)

    @property
    def now(self) -> Moment:
        """The outputs as they are."""
        golden = self.record
        outputs, settled = int(golden.outputs[-1]), int(golden.settled[-1])
        return Moment(
            step=int(golden.steps[-1]),
            seconds=golden.end / golden.oscillator_hz,
            outputs=outputs,
            settled=settled,
            shown=as_character(outputs, settled, self.board.display),
        )

    @property
    def display(self) -> str:
        """What the display shows: a character with or without its point, `blank`, `?`, or lit bars in brackets."""
        return self.now.shown

    @property
    def levels(self) -> str:
        """The outputs, `o7` first: 0, 1, or x where unsettled."""
        return self.now.levels

    @property
    def outputs(self) -> int:
        """The outputs as a number, unsettled ones as 0."""
        return self.now.outputs

    @property
    def step(self) -> int:
        """Steps since the slot was up."""
        return self.now.step

    @property
    def strip(self) -> str:
        """What was done, and the last pictures in a row, for a message."""
        golden, wiring = self.record, self.board.display
        wired = sorted(int(line[1:]) for line in wiring) or list(range(8))
        last = pictures(golden, seen(golden), wired)[-PICTURES:]
        step_s = None
        if self.live.datasheet.step is not None and self.live.standing.enable:
            step_s = float(2 * self.live.standing.half / self.board.frame_hz)
        hz = golden.oscillator_hz
        drawn = strip(last, wiring, hz, width=WIDE, limit=PICTURES, glyphs=ASCII, step_s=step_s)
        actions = "; ".join(to_text(action) for action in self.live.actions if not isinstance(action, Select))
        return "\n".join(
            [f"{self.live.datasheet.title}: {actions}", "", *(line.plain.rstrip() for line in drawn)]
        )
