"""A procedure carried out by an ideal hand: what stands on switches, buttons and selector, frame by frame.

The hand is exact. Each action that moves something takes one frame: what it moves is sampled in the frame
that follows the action before, and the next action comes one frame later. `Strap` is three such moves (code
on the switches, enable, switches back), or four where the step clock runs and must be switched off first.
`Restart` moves the restart line twice, with steps in between. `Pulse` keeps its pace, but a frame for each move is
the least. Waits take the time that they say. Before the first action all switches are at 0, no button is held, the
step clock is off and the oscillator runs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from fractions import Fraction
from typing import Any

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.contention import RefusedError
from forelight.designs.procedures.procedure import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Play,
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
from forelight.designs.procedures.refusals import Situation, refuse
from forelight.sim.errors import UsageError

from ..boards.profile import Board
from ..chip.routing import divided_line, restart_input, routing, step_input
from .buttons import BOUNCES, Buttons
from .leads import STRAIGHT, Lead, led
from .outside import Outside
from .step_clock import StepClock
from .stretch import Stretch

#: What a hand holds that is a number.
_HELD = ("frame", "_slot", "_switches", "_clock", "_code", "_running", "_total")
#: Times are counted in ticks as int64; no procedure may come near the end of that.
MOST_TICKS = 1 << 62


class Hand:
    """Carries out actions on one board, for one design: `stretches` and `pauses` grow with each.

    `slot` is where the selector stands at first. Bits of `contacts` that are 0 are switches that do not make
    contact; where their line has no pull either, it is taken as 0. `leads` wire the switches to the pins. `pauses` are
    (frame, length): before that frame the oscillator of a chain stood still for the length of so many frames. Raises
    UsageError for an action that cannot be carried out.
    """

    def __init__(
        self,
        board: Board,
        datasheet: Datasheet,
        slot: int = 0,
        contacts: int = 0xFF,
        leads: Sequence[Lead] = STRAIGHT,
    ) -> None:
        self.board = board
        self.datasheet = datasheet
        self.contacts = contacts
        self.leads = leads
        self.stretches: list[Stretch] = []
        self.pauses: list[tuple[int, int]] = []
        self.frame = 0
        self._table = routing(board, datasheet)
        self._divided = divided_line(board)
        self._home = self._slot = slot
        self._switches = 0
        self._buttons = Buttons(board)
        self._outside = Outside()
        self._clock = 0  # frames that the oscillator ran
        self.step_clock = StepClock()
        self._code = 0  # of a step source that is not strapped
        self._running = True
        self._total = 0  # frames and pauses
        self._pulls = sum(level << INPUT_LINES.index(line) for line, level in board.pulls.items())

    @property
    def now(self) -> int:
        """The tick, from the start of the procedure, in which the next action begins."""
        return self._total * self.board.frame_ticks

    def do(self, actions: Iterable[Action]) -> None:
        """Carry out actions in their order."""
        for action in actions:
            if not isinstance(action, (Repeat, Seconds)):  # nobody is refused to wait
                self._refuse(action)
            match action:
                case Repeat(count, inner):
                    for _ in range(count):
                        self.do(inner)
                case Steps() | Frames() | Seconds():
                    self._wait(action)
                case Restart(length):
                    self._restart(length)
                case Pulse(count, hz):
                    self._pulse(count, max(1, round(self.board.frame_hz / (2 * Fraction(hz)))))
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
            case Press(line, bouncing) | Release(line, bouncing):
                self._button(line, isinstance(action, Press), bouncing)
            case Drive() | LetGo():
                self._outside.do(action)
                self._hold(1)
            case Play(file):
                raise UsageError(
                    f"play {file}: a recording must be read first", remedy="expand it with `played`"
                )
            case _:
                raise TypeError(action)

    def _button(self, line: str, down: bool, bouncing: bool) -> None:
        self._buttons.move(line, down, self._clock)
        at = 0
        for due in BOUNCES if bouncing else ():
            frames = max(round(Fraction(str(due)) * self.board.frame_hz) - at, 1)
            self._hold(frames)
            at += frames
            down = not down
            self._buttons.move(line, down, self._clock)
        self._hold(1)

    def _refuse(self, action: Action) -> None:
        try:
            refuse(action, self.situation())
        except RefusedError as error:
            raise UsageError(f'"{to_text(action)}": {error.found}', remedy=error.remedy) from None

    def situation(self) -> Situation:
        """The bench as it stands, for who asks whether an action can be done."""
        board = self.board
        return Situation(
            self.datasheet,
            switches={line: self._switches >> bit & 1 for bit, line in enumerate(INPUT_LINES)},
            clocked=self.step_clock.enable,
            clock_line=INPUT_LINES[self._divided] if self._divided < 8 else None,
            here=self._slot == self._home,
            reached=self._step_line() == self._divided,
            oscillator=self._running,
            held=_named(self._buttons.held),
            driven=_named(self._outside.driven),
            pulls=board.pulls,
            slot_count=board.slot_count,
            codes=board.codes,
            buttons=board.buttons,
            chained=board.link == "chain",
            strapped=board.strapped,
        )

    @property
    def standing(self) -> Stretch:
        """What the hand holds now, and what it comes to at the pins."""
        return self._stretch(self._levels())

    def _stretch(self, levels: int, length: int = 0, pulsing: int = 0, beat: int = 1) -> Stretch:
        clock = self.step_clock
        return Stretch(
            start=self.frame,
            length=length,
            slot=self._slot,
            switches=self._switches,
            buttons=self._buttons.held,
            driven=self._outside.driven,
            outside=self._outside.levels,
            levels=levels,
            pulsing=pulsing,
            enable=clock.enable,
            code=self._code,
            running=self._running,
            phase=clock.phase if clock.started else 0,
            half=clock.half,
            beat=beat,
        )

    def snapshot(self) -> Mapping[str, Any]:
        """What the hand holds, to give back to `restore`."""
        held = {name: getattr(self, name) for name in _HELD}
        parts = {name: copy(getattr(self, name)) for name in ("step_clock", "_outside")}
        lengths = {"stretches": len(self.stretches), "pauses": len(self.pauses)}
        return {"held": held | parts, "buttons": self._buttons.copy(), "lengths": lengths}

    def restore(self, snapshot: Mapping[str, Any]) -> None:
        """Back to a snapshot of this hand; what was done since is forgotten."""
        for name, value in snapshot["held"].items():
            setattr(self, name, copy(value))
        self._buttons = snapshot["buttons"].copy()
        for name, length in snapshot["lengths"].items():
            del getattr(self, name)[length:]

    def _select(self, slot: int) -> None:
        self._slot = slot
        self._hold(1)

    def _strap(self, code: int) -> None:
        if self.step_clock.enable:
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
        self.step_clock.enable = on
        self._hold(1)

    def _put(self, line: int, level: int) -> None:
        self._switches = self._switches & ~(1 << line) | level << line

    def _restart(self, length: int) -> None:
        index, sheet = restart_input(self.datasheet), self.datasheet
        assert index is not None and sheet.restart is not None  # or it was refused
        line, active = self._table[index], int(sheet.restart.active == "high")
        self._drive(line, active)
        self._let_pass(length)
        self._drive(line, 1 - active)
        self._hold(1)

    def _let_pass(self, steps: int) -> None:
        """Steps of the clock, or by hand where it does not reach the design; frames where there is nothing to step."""
        line = self._step_line()
        clocked = self.step_clock.enable and line == self._divided
        if clocked and self._running:
            self._hold(self.step_clock.frames_to_rise(steps))
        elif self.datasheet.step is not None and not clocked and not self._outside.driven >> line & 1:
            self._hold(1)  # lines that move at one instant would race
            self._pulse(steps)
        else:
            self._hold(max(steps, 1))

    def _drive(self, line: int, level: int) -> None:
        """Move the switch of a line so that the line has this level, whatever its button does."""
        pressed = self._buttons.taken >> line & 1 if line < 8 else 0
        self._put(line, level ^ pressed)

    def _pulse(self, count: int, beat: int = 1) -> None:
        """Move the step line up and down so many times, each for `beat` frames."""
        bit = 1 << self._step_line() & (self.contacts | ~0xFF)
        while count and self._buttons.due:  # a button is about to be taken in between
            for _ in range(2):
                self._switches ^= bit
                self._hold(beat)
            count -= 1
        self._hold(2 * count * beat, pulsing=bit, beat=beat)

    # Time

    def _wait(self, action: Steps | Frames | Seconds) -> None:
        match action:
            case Steps(count):
                self._hold(self.step_clock.frames_to_rise(count))
            case Frames(count):
                self._hold(count)
            case Seconds(seconds):
                self._hold(round(Fraction(str(seconds)) * self.board.frame_hz))

    def _step_line(self) -> int:
        index = step_input(self.datasheet)
        return self._divided if index is None else self._table[index]

    def _levels(self) -> int:
        """What switches, pulls and buttons come to at the pins, with the own lines above them."""
        return led(self._unled(), self.leads) if self.leads is not STRAIGHT else self._unled()

    def _unled(self) -> int:
        floating = ~self.contacts & 0xFF
        return self._outside.over((self._switches & ~floating | self._pulls & floating) ^ self._buttons.taken)

    def _hold(self, frames: int, pulsing: int = 0, beat: int = 1) -> None:
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
            self._emit(part, pulsing, beat)
            frames -= part

    def _emit(self, length: int, pulsing: int, beat: int) -> None:
        levels = self._levels()
        if pulsing and self.leads is not STRAIGHT:
            pulsing = led(self._unled() ^ pulsing, self.leads) ^ levels
        clock = self.step_clock
        if self._running:
            if clock.starts:
                clock.start(self.board.half(levels & 0xFF if self.board.strapped else self._code))
            clock.started = clock.enable
        self.stretches.append(self._stretch(levels, length, pulsing, beat))
        self.frame += length
        if self._running:
            self._clock += length
            clock.advance(length)


def _named(mask: int) -> tuple[str, ...]:
    return tuple(line for bit, line in enumerate(INPUT_LINES) if mask >> bit & 1)
