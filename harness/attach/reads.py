"""What was read from a serial memory, as its pins tell it, and every breach of its published timing.

Microchip 25LC256 data sheet (DS21822), AC characteristics from 2.5 to 4.5 V, from memory.
"""

from __future__ import annotations

from dataclasses import field

import numpy as np
from forelight.sim.frozen import frozen, mutable
from forelight.sim.traces.trace import Trace

from .image import READ

#: Seconds for which the clock must be high, and low.
CLOCK_S = 100e-9


@mutable
class Transfer:
    """From a fall of `cs` at `time` to its rise: the bits that were asked, and those that came after the header."""

    time: int
    asked: list[int] = field(default_factory=list)
    answered: list[int] = field(default_factory=list)

    def instruction(self) -> int:
        return _number(self.asked[:8])

    def address(self) -> int:
        return _number(self.asked[8:])

    def data(self) -> bytes:
        """The whole bytes."""
        return bytes(_number(self.answered[at : at + 8]) for at in range(0, len(self.answered) - 7, 8))


@frozen
class Log:
    """Transfers of which at least instruction and address are whole, and (time, what) of each breach."""

    transfers: tuple[Transfer, ...]
    faults: tuple[tuple[int, str], ...]


def log(trace: Trace, hz: float, address_bytes: int = 3) -> Log:
    """Follow the signals cs, sck, si and so, whose times count `hz` to the second."""
    header = 8 + 8 * address_bytes
    names = ("cs", "sck", "si", "so")
    pins = np.stack([trace.values[name].astype(np.int8) for name in names], axis=1)
    moves = np.flatnonzero((pins[1:] != pins[:-1]).any(axis=1)) + 1
    open_now: Transfer | None = None
    found, faults, turned = [], [], None
    for row in moves.tolist():
        time = int(trace.times[row])
        (cs, sck, si, so), (was_cs, was_sck, was_si, _) = pins[row].tolist(), pins[row - 1].tolist()
        if cs != was_cs:
            if not cs and sck:
                faults.append((time, "sck is high as cs falls: that is not SPI mode 0"))
            open_now = None if cs else Transfer(time)
            turned = None
            if open_now:
                found.append(open_now)
        if open_now is None or sck == was_sck:
            continue
        if turned is not None and time - turned < CLOCK_S * hz:
            level = "low" if sck else "high"
            faults.append((time, f"sck was {level} for only {(time - turned) / hz * 1e9:.0f} ns"))
        turned = time
        if not sck:
            continue
        if si != was_si or cs != was_cs:
            faults.append((time, "si or cs moves in the instant in which sck rises"))
        if len(open_now.asked) < header:
            open_now.asked.append(si)
        else:
            open_now.answered.append(so)
    whole = tuple(one for one in found if len(one.asked) == header)
    faults += [
        (one.time, f"instruction {one.instruction():02X}h: this memory knows only {READ:02X}h, read")
        for one in whole
        if one.instruction() != READ
    ]
    return Log(whole, tuple(sorted(faults)))


def _number(bits: list[int]) -> int:
    return int("".join(map(str, bits)) or "0", 2)
