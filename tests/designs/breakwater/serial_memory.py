"""A serial memory, as its data sheets have it, on the lines of a design: o0 selects, o1 clocks, o2 asks, i0 hears."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Driven

SELECT, CLOCK, ASK, ANSWER, STEP = 1 << 0, 1 << 1, 1 << 2, 1 << 0, 1 << 7
READ = 0x03  # and an address of 24 bits, as serial flash memories of the 25 series have it (from memory)


class SerialMemory:
    """Mode 0: takes a bit as the clock rises, moves its answer as it falls (Microchip's application notes on SPI).

    Reading goes on from byte to byte until it is let go; a line that it does not drive reads 1.
    """

    def __init__(self, image: bytes) -> None:
        self.image = image
        self.answer = 1
        self.reads: list[int] = []  # the address of each command
        self._before = SELECT
        self._asked: list[int] = []
        self._given = 0

    def see(self, lines: int) -> None:
        rose, fell = lines & ~self._before, self._before & ~lines
        if lines & SELECT:
            self.answer = 1
        elif fell & SELECT:
            assert not lines & CLOCK, "mode 0 begins with the clock low"
            self._asked, self._given = [], 0
        elif rose & CLOCK:
            assert (lines ^ self._before) & ASK == 0, "the data moved as the clock rose"
            self._asked.append(int(lines & ASK != 0))
            if len(self._asked) == 32:
                command = int("".join(map(str, self._asked)), 2)
                assert command >> 24 == READ
                self.reads.append(command & 0xFFFFFF)
        elif fell & CLOCK and len(self._asked) >= 32:
            byte, bit = divmod(self._given, 8)
            self.answer = self.image[(self.reads[-1] + byte) % len(self.image)] >> 7 - bit & 1
            self._given += 1
        self._before = lines


def behind_chain(
    design: Driven, memory: SerialMemory, levels: int, frames: int, late: int, half: int = 1
) -> Iterator[int]:
    """The board's output pins after each frame (DEVELOPERS.md, Time 1); the step clock toggles every `half` frames.

    An answer that comes just after the pins are sampled waits for the next frame: `late` is 1 for such a memory.
    """
    answers = [memory.answer] * (late + 1)
    for frame in range(frames):
        captured, sampled = design.outputs, answers[0]
        step = STEP * (frame // half % 2)
        design.put(levels & ~(ANSWER | STEP) | step | (ANSWER if sampled else 0))
        memory.see(captured)
        answers = [*answers[1:], memory.answer]
        yield captured


def wired_through(design: Driven, memory: SerialMemory, levels: int, frames: int) -> Iterator[int]:
    """The same on a direct link: an answer is there at once (DEVELOPERS.md, Time 6)."""
    for frame in range(frames):
        design.put(levels & ~(ANSWER | STEP) | STEP * (frame % 2) | (ANSWER if memory.answer else 0))
        memory.see(design.outputs)
        yield design.outputs
