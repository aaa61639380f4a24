"""A procedure carried out by an ideal hand: what stands on switches, buttons and selector, frame by frame.

The hand is exact. Each action that moves something takes one frame: what it moves is sampled in the frame
that follows the action before, and the next action comes one frame later. `Strap` is three such moves (code
on the switches, enable, switches back), or four where the step clock runs and must be switched off first.
`Restart` moves the restart line twice. Waits take the time that they say. Before the first action all
switches are at 0, no button is held, the step clock is off and the oscillator runs.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedure import (
    Action,
    Disable,
    Enable,
    Frames,
    Oscillator,
    Press,
    Pulse,
    Release,
    Repeat,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
    to_text,
)
from forelight.sim.errors import UsageError

from ..boards.profile import Board
from ..chip.routing import divided_line, restart_input, routing, step_input
from .buttons import Buttons
from .stretch import Stretch

#: Times are counted in ticks as int64; no procedure may come near the end of that.
MOST_TICKS = 1 << 62


class Hand:
    """Carries out actions on one board, for one design: `stretches` and `pauses` grow with each.

    `slot` is where the selector stands at first. Bits of `contacts` that are 0 are switches that do not make
    contact; where their line has no pull either, it is taken as 0. `pauses` are (frame, length): before that
    frame the oscillator of a chain stood still for the length of so many frames. Raises UsageError for an
    action that cannot be carried out.
    """

    def __init__(self, board: Board, datasheet: Datasheet, slot: int = 0, contacts: int = 0xFF) -> None:
        self.board = board
        self.datasheet = datasheet
        self.contacts = contacts
        self.stretches: list[Stretch] = []
        self.pauses: list[tuple[int, int]] = []
        self.frame = 0
        self._table = routing(board, datasheet)
        self._divided = divided_line(board)
        self._slot = slot
        self._switches = 0
        self._buttons = Buttons(board)
        self._clock = 0  # frames that the oscillator ran
        self._enable = False
        self._started = False  # whether the divider has seen the enable
        self._code = 0  # of a step source that is not strapped
        self._phase = 0
        self._half = 1
        self._running = True
        self._total = 0  # frames and pauses
        self._pulls = sum(level << INPUT_LINES.index(line) for line, level in board.pulls.items())

    def do(self, actions: Iterable[Action]) -> None:
        """Carry out actions in their order."""
        for action in actions:
            match action:
                case Repeat(count, inner):
                    for _ in range(count):
                        self.do(inner)
                case Steps() | Frames() | Seconds():
                    self._wait(action)
                case Restart(length):
                    self._restart(length)
                case Pulse(count):
                    self._pulse(count)
                case _:
                    self._move(action)

    def finish(self) -> None:
        """Keep still until the answer to the last action is at the output pins."""
        if self.board.link == "chain" or not self.stretches:
            self._hold(1)

    # Moves

    def _move(self, action: Action) -> None:
        match action:
            case Select(slot):
                self._select(slot)
            case Strap(code):
                self._strap(code)
            case Enable() | Disable():
                self._switch_clock(isinstance(action, Enable))
            case Oscillator(on):
                self._running = on
                self._hold(1)
            case Set(levels):
                for line, level in levels.items():
                    self._put(INPUT_LINES.index(line), level)
                self._hold(1)
            case Press(line) | Release(line):
                self._buttons.move(line, isinstance(action, Press), self._clock)
                self._hold(1)
            case _:
                raise TypeError(action)

    def _select(self, slot: int) -> None:
        if not 0 <= slot < self.board.slot_count:
            raise UsageError(
                f"{self.board.name} has no slot {slot}",
                remedy=f"its slots are 0 to {self.board.slot_count - 1}",
            )
        self._slot = slot
        self._hold(1)

    def _strap(self, code: int) -> None:
        if not 0 <= code < self.board.codes:
            raise UsageError(
                f"{self.board.name} has no strap code {code}",
                remedy=f"its codes are 0 to {self.board.codes - 1}",
            )
        if self._enable:
            self._switch_clock(False)
        if not self.board.strapped:
            self._code = code
            self._switch_clock(True)
            return
        before = self._switches
        self._switches = before & ~0xFF | code
        self._hold(1)
        self._switch_clock(True)
        self._switches = before
        self._hold(1)

    def _switch_clock(self, on: bool) -> None:
        self._enable = on
        self._hold(1)

    def _put(self, line: int, level: int) -> None:
        self._switches = self._switches & ~(1 << line) | level << line

    def _restart(self, length: int) -> None:
        index = restart_input(self.datasheet)
        if index is None or self.datasheet.restart is None:
            raise UsageError(
                f"{self.datasheet.name} has no restart line",
                remedy="leave restart out, or state [restart] in its datasheet",
            )
        line = self._table[index]
        active = int(self.datasheet.restart.active == "high")
        self._drive(line, active)
        clocked = self._enable and self._running and self._step_line() == self._divided
        self._hold(self._frames_to_rise(length) if clocked else max(length, 1))
        self._drive(line, 1 - active)
        self._hold(1)

    def _drive(self, line: int, level: int) -> None:
        """Move the switch of a line so that the line has this level, whatever its button does."""
        pressed = self._buttons.taken >> line & 1 if line < 8 else 0
        self._put(line, level ^ pressed)

    def _pulse(self, count: int) -> None:
        line = self._step_line()
        if self._enable and line == self._divided:
            raise UsageError(
                "the step clock is on: steps by hand do not reach the step line",
                remedy="switch it off first, or wait for steps",
            )
        bit = 1 << line & (self.contacts | ~0xFF)
        while count and self._buttons.due:  # a button is about to be taken in between
            for _ in range(2):
                self._switches ^= bit
                self._hold(1)
            count -= 1
        self._hold(2 * count, pulsing=bit)

    # Time

    def _wait(self, action: Steps | Frames | Seconds) -> None:
        match action:
            case Steps(count):
                self._need_step_clock(action)
                self._hold(self._frames_to_rise(count))
            case Frames(count):
                self._need_oscillator(action)
                self._hold(count)
            case Seconds(seconds):
                self._hold(round(Fraction(str(seconds)) * self.board.frame_hz))

    def _step_line(self) -> int:
        index = step_input(self.datasheet)
        return self._divided if index is None else self._table[index]

    def _need_oscillator(self, action: Action) -> None:
        if not self._running:
            raise UsageError(
                f"{to_text(action)}: nothing moves while the oscillator is off",
                remedy="switch the oscillator on first",
            )

    def _need_step_clock(self, action: Action) -> None:
        self._need_oscillator(action)
        if not self._enable:
            raise UsageError(
                f"{to_text(action)}: the step clock is off", remedy="use strap or enable before it"
            )
        if self._step_line() != self._divided:
            line = self.datasheet.step.line if self.datasheet.step else ""
            raise UsageError(
                f"{to_text(action)}: the step clock of {self.board.name} is on {self.board.step_line}, "
                f"the step line of {self.datasheet.name} is {line}",
                remedy="make steps by hand with pulse",
            )

    def _frames_to_rise(self, count: int) -> int:
        """Frames from here to the end of the one in which the step clock rises for the count-th time."""
        if count < 1:
            return 1
        # Rises come at the phases half, 3 half, 5 half ...; `passed` of them lie before this frame.
        passed = (self._phase + self._half - 1) // (2 * self._half)
        return self._half * (2 * (passed + count) - 1) - self._phase + 1

    def _levels(self) -> int:
        """What switches, pulls and buttons come to, with the own lines above them."""
        floating = ~self.contacts & 0xFF
        return (self._switches & ~floating | self._pulls & floating) ^ self._buttons.taken

    def _hold(self, frames: int, pulsing: int = 0) -> None:
        """Let so many frames pass; a pause, where a chain stands still."""
        self._total += frames
        if self._total * self.board.frame_ticks > MOST_TICKS:
            raise UsageError(
                f"the procedure comes to {self._total} frames of {self.board.name}", remedy="make it shorter"
            )
        if not self._running and self.board.link == "chain":
            self.pauses.append((self.frame, frames))
            return
        while frames > 0:
            self._buttons.settle(self._clock)
            part = frames
            if self._running:
                part = min([frames, *(due - self._clock for due in self._buttons.due.values())])
            self._emit(part, pulsing)
            frames -= part

    def _emit(self, length: int, pulsing: int) -> None:
        levels = self._levels()
        if self._running:
            if self._enable and not self._started:
                code = levels & 0xFF if self.board.strapped else self._code
                self._phase, self._half = 0, self.board.half(code)
            self._started = self._enable
        self.stretches.append(
            Stretch(
                start=self.frame,
                length=length,
                slot=self._slot,
                switches=self._switches,
                buttons=self._buttons.held,
                levels=levels,
                pulsing=pulsing,
                enable=self._enable,
                code=self._code,
                running=self._running,
                phase=self._phase if self._started else 0,
                half=self._half,
            )
        )
        self.frame += length
        if self._running:
            self._clock += length
            self._phase += length
