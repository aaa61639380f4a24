"""A character display that listens: the text on it, and every breach of its published timing.

Hitachi HD44780U data sheet (ADE-207-272): initializing by instruction (figures 23 and 24), write operation of the bus
(AC characteristics, below and above 4.5 V); the times of the bus are from memory. The display is taken to have got its
power at the beginning of the trace. What comes while it is busy is lost.
"""

from __future__ import annotations

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.traces.trace import Trace

from .controller import Controller

DATA = tuple(f"db{bit}" for bit in range(8))
#: A text that stands for less than this cannot be read (common practice, no source).
READABLE_S = 0.25


@frozen
class Limits:
    """Seconds: the wait after power-up, width of an enable pulse, and from one rise of the enable to the next."""

    power_up: float
    pulse: float
    cycle: float


HIGH, LOW = Limits(15e-3, 230e-9, 500e-9), Limits(40e-3, 450e-9, 1000e-9)
#: After the first and the second function set of the start-up; after the third the instruction's own time holds.
START_UP = (4.1e-3, 100e-6)


@frozen
class Breach:
    """At `time` (in the trace's unit) the display was not driven as it must be."""

    time: int
    found: str


@frozen
class Screen:
    """From `start` on the display shows these lines."""

    start: int
    lines: tuple[str, ...]


@frozen
class Watched:
    """Texts that stood long enough to be read, the last one always among them; and what was wrong."""

    screens: tuple[Screen, ...]
    faults: tuple[Breach, ...]


def watch(trace: Trace, hz: float, *, columns: int = 16, rows: int = 2, volts: float = 5.0) -> Watched:
    """Watch the signals rs, e, db4 to db7, and perhaps rw, db0 to db3; their times count `hz` to the second."""
    watcher = _Watcher(hz, HIGH if volts >= 4.5 else LOW)
    screens = [Screen(0, watcher.controller.lines(columns, rows))]
    names = [name for name in ("rs", "rw", *DATA) if name in trace.values]
    known = {name: trace.unknown.get(name, np.zeros(len(trace.times), np.uint64)) for name in ("e", *names)}
    enable = trace.values["e"] + 2 * known["e"]
    moves = np.flatnonzero(enable[1:] != enable[:-1]) + 1
    for row in moves.tolist():
        before = {name: None if known[name][row - 1] else int(trace.values[name][row - 1]) for name in names}
        after = {name: None if known[name][row] else int(trace.values[name][row]) for name in names}
        watcher.enable(int(trace.times[row]), int(enable[row - 1]), int(enable[row]), before, after)
        lines = watcher.controller.lines(columns, rows)
        if lines != screens[-1].lines:
            screens.append(Screen(int(trace.times[row]), lines))
    ends = [*(screen.start for screen in screens[1:]), trace.end]
    kept = [
        screen for screen, end in zip(screens, ends, strict=True) if end - screen.start >= READABLE_S * hz
    ]
    if screens[-1] not in kept:
        kept.append(screens[-1])
    return Watched(tuple(kept), tuple(watcher.faults))


Levels = dict[str, int | None]


class _Watcher:
    """The bus of the display: what each fall of the enable hands over, and when that may be."""

    def __init__(self, hz: float, limits: Limits) -> None:
        self.hz, self.limits = hz, limits
        self.controller = Controller()
        self.faults: list[Breach] = []
        self.rise: int | None = None
        self.free_at = limits.power_up * hz
        self.waiting_for = f"the {limits.power_up * 1e3:g} ms after power-up"
        self.starts = 0  # function sets of the start-up so far
        self.half: tuple[int | None, ...] | None = None  # the upper four bits that wait for the lower ones

    def enable(self, time: int, was: int, now: int, before: Levels, after: Levels) -> None:
        if now > 1:
            self._fault(time, "the enable is unsettled: what is shown from here on cannot be told")
        if (was, now) == (0, 1):
            if self.rise is not None and time - self.rise < self.limits.cycle * self.hz:
                self._fault(
                    time, f"the enable rises {self._nanoseconds(time - self.rise)} after it last rose"
                )
            if before.get("rs") != after.get("rs") or before.get("rw") != after.get("rw"):
                self._fault(time, "rs or rw moves in the instant in which the enable rises")
            self.rise = time
        elif (was, now) == (1, 0):
            if self.rise is not None and time - self.rise < self.limits.pulse * self.hz:
                self._fault(time, f"the enable is high for only {self._nanoseconds(time - self.rise)}")
            if before != after:
                self._fault(time, "the data move in the instant in which the enable falls")
            self._transfer(time, before)

    def _transfer(self, time: int, levels: Levels) -> None:
        if time < self.free_at and self.half is None:
            missing = (self.free_at - time) / self.hz
            self._fault(time, f"lost: it comes {missing * 1e6:.3g} us before the end of {self.waiting_for}")
            return
        bits = tuple(levels.get(name, 0) for name in DATA)
        if not self.controller.eight_bits:
            if self.half is None:
                self.half = bits[4:]
                return
            bits, self.half = (*bits[4:], *self.half), None
        if levels.get("rw"):
            return  # a read: it answers on the data lines, which lead to no input here
        value = None if None in bits else sum((bit or 0) << place for place, bit in enumerate(bits))
        self._take(time, levels["rs"], value)

    def _take(self, time: int, register: int | None, value: int | None) -> None:
        if register is None or value is None:
            self._fault(time, "rs or the data are unsettled as the enable falls")
        if register:
            self._check_start(time, "a character")
            self._busy(time, self.controller.write(value), "a character")
        elif register == 0 and value is not None:
            starting = self.starts < 3 and value >> 4 == 3
            if not starting:
                self._check_start(time, f"instruction {value:02X}h")
            seconds = self.controller.instruct(value)
            what = f"instruction {value:02X}h"
            if starting:
                if self.starts < len(START_UP):
                    seconds, what = START_UP[self.starts], f"the wait after function set {self.starts + 1}"
                self.starts += 1
            self._busy(time, seconds, what)

    def _check_start(self, time: int, what: str) -> None:
        """The internal reset may fail where power rises slowly: the data sheet asks for three function sets first."""
        if self.starts < 3:
            self._fault(time, f"{what} comes before the three function sets of the start-up")
            self.starts = 3

    def _busy(self, time: int, seconds: float, what: str) -> None:
        self.free_at = time + seconds * self.hz
        self.waiting_for = what

    def _fault(self, time: int, found: str) -> None:
        self.faults.append(Breach(time, found))

    def _nanoseconds(self, ticks: int) -> str:
        return f"{ticks / self.hz * 1e9:.0f} ns"
