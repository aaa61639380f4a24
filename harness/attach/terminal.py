"""A serial terminal that listens: what it reads from a line in frames of 8N1, and which frames were bad.

The line rests high; a low start bit, eight data bits, the lowest first, and a high stop bit; each bit is looked at
in its middle (NXP AN10386; Microchip's application notes on asynchronous receivers say the same).
"""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN
from forelight.sim.traces.trace import Trace
from numpy.typing import NDArray

from .wiring import states

#: Bits of a frame: start, data, stop.
FRAME = 10
#: A rate is tried with its shortest pulse as so many bits.
MOST_BITS = 9
#: Frames that are read to try a rate.
TRIED = 400


@frozen
class Character:
    """One frame that began at `time` (in the trace's unit); `fault` is empty, or says what was wrong with it."""

    time: int
    byte: int
    fault: str = ""


@frozen
class Received:
    """All frames of a line. `baud` is None where none was given and none was found; `found` tells which it is."""

    baud: float | None
    found: bool
    characters: tuple[Character, ...]

    @property
    def faults(self) -> tuple[Character, ...]:
        return tuple(character for character in self.characters if character.fault)

    @property
    def text(self) -> str:
        """What the terminal shows: ASCII, other bytes written out, `?` for a frame that was bad; lines end in `\\n`."""
        shown = "".join("?" if one.fault else _shown(one.byte) for one in self.characters)
        return shown.replace("\r\n", "\n").replace("\r", "\n")


def receive(trace: Trace, hz: float, baud: float | None = None, signal: str = "receive") -> Received:
    """Read a signal whose times count `hz` to the second; without `baud` the rate is found from its pulses."""
    line = _SerialLine(trace, signal)
    if baud is not None:
        return Received(baud, False, tuple(line.frames(hz / baud)))
    bit = line.bit_length()
    return Received(hz / bit, True, tuple(line.frames(bit))) if bit else Received(None, True, ())


class _SerialLine:
    """A line as lists, for one look after another."""

    def __init__(self, trace: Trace, signal: str) -> None:
        times, levels = states(trace, signal)
        self.times: list[int] = times.tolist()
        self.levels: list[int] = levels.tolist()
        self.end = trace.end

    def at(self, time: float) -> int:
        return self.levels[bisect_right(self.times, time) - 1]

    def frames(self, bit: float, most: int | None = None) -> list[Character]:
        """The frames at so many ticks a bit, `most` of them; one that the end cuts off is left out."""
        found: list[Character] = []
        row = 1
        while row < len(self.times) and (most is None or len(found) < most):
            start = self.times[row]
            if (self.levels[row - 1], self.levels[row]) != (1, 0) or self.at(start + bit / 2) == 1:
                row += 1  # no start bit, or one that is gone before its middle
                continue
            if start + (FRAME - 0.5) * bit >= self.end:
                break
            found.append(self._frame(start, bit))
            row = bisect_right(self.times, start + (FRAME - 0.5) * bit)
        return found

    def _frame(self, start: int, bit: float) -> Character:
        looks = [self.at(start + (place + 0.5) * bit) for place in range(FRAME)]
        byte = sum((level == 1) << place for place, level in enumerate(looks[1:9]))
        if UNKNOWN in looks:
            return Character(start, byte, "unsettled")
        if looks[9] == 0:
            return Character(start, byte, "framing error" if byte else "break")
        return Character(start, byte)

    def bit_length(self) -> float | None:
        """Ticks a bit: of the bits that the shortest pulse is a multiple of, the one with the fewest bad frames."""
        levels = np.array(self.levels)
        inner = np.diff(self.times)[1:]  # neither the rest before the first pulse nor the one after the last
        pulses = inner[levels[1:-1] != UNKNOWN].astype(np.float64)
        if not len(pulses):
            return None
        tried = [float(pulses.min()) / bits for bits in range(1, MOST_BITS + 1)]
        best = min(tried, key=lambda bit: (self._badness(bit, pulses), -bit))
        counts = np.round(pulses / best)
        near = counts <= MOST_BITS  # what is longer may hold a rest of any length
        return float(pulses[near].sum() / counts[near].sum())

    def _badness(self, bit: float, pulses: NDArray[np.float64]) -> float:
        """The share of bad frames, and of pulses within a frame that are no whole number of bits long."""
        frames = self.frames(bit, TRIED)
        within = pulses[pulses < (MOST_BITS + 0.5) * bit] / bit
        uneven = np.abs(within - np.round(within)) > 0.25
        bad = sum(1 for frame in frames if frame.fault)
        return (bad / len(frames) if frames else 1.0) + (float(uneven.mean()) if len(within) else 1.0)


def _shown(byte: int) -> str:
    char = chr(byte)
    return char if char in "\r\n\t" or 0x20 <= byte < 0x7F else f"\\x{byte:02x}"
