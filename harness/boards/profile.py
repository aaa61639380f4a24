"""A board profile: the numbers and conventions of one chip and board, and its roster of slots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from fractions import Fraction
from pathlib import Path

from forelight.sim.frozen import frozen


@frozen
class Board:
    """One chip and board.

    `link` is `chain` or `direct`. On a chain a frame is `ticks_per_bit * 8 * positions` oscillator ticks; on
    a direct link a frame is one tick of the oscillator (there is no chain, so lines are wired through). `law`
    is `counter` or `two-stage` (see `half`); `codes` is how many strap codes there are: 256 on a chain, where
    the eight input switches hold the code; on a direct link the code is a setting of the step source, not of
    the switches. `step_line` is `i0`..`i7`, or `own` on a direct link; likewise `restart_line`.
    """

    name: str
    title: str
    oscillator_hz: int
    link: str
    slots: Mapping[int, str]  # slot number -> folder name in the catalogue, or a path relative to the profile
    slot_count: int
    positions: int = 1
    ticks_per_bit: int = 1
    law: str = "counter"
    codes: int = 256
    step_line: str = "i7"
    restart_line: str | None = None
    buttons: Mapping[str, str] = field(default_factory=dict)  # input line -> label
    pins: Mapping[str, str] = field(
        default_factory=dict
    )  # line (or own `step`, `restart`) -> label on the board
    display: Mapping[str, str] = field(default_factory=dict)  # output line -> segment a..g or point
    pulls: Mapping[str, int] = field(
        default_factory=dict
    )  # input line -> level when its switch does not make contact
    debounce: Mapping[str, int] = field(default_factory=dict)  # input line -> ticks that its button must hold
    unselected: str = "hold"  # hold, or run: what becomes of unselected designs on a direct link
    empty_outputs: int = 0  # the eight outputs of an empty slot as a number, bit 0 first
    path: Path | None = None

    @property
    def frame_ticks(self) -> int:
        return self.ticks_per_bit * 8 * self.positions if self.link == "chain" else 1

    @property
    def strapped(self) -> bool:
        """Whether the strap code is what the input switches hold."""
        return self.link == "chain"

    @property
    def shown(self) -> list[int]:
        """The numbers of the outputs that the display shows; all where there is none."""
        return sorted(int(line[1:]) for line in self.display) or list(range(8))

    @property
    def folder(self) -> Path:
        """Where the paths of the roster start."""
        return self.path.parent if self.path else Path()

    @property
    def frame_hz(self) -> Fraction:
        return Fraction(self.oscillator_hz, self.frame_ticks)

    def half(self, code: int) -> int:
        """Frames for which the step clock stays at one level with this strap code (DEVELOPERS.md, Time 2)."""
        if self.law == "two-stage":
            return ((code & 31) + 1) << (code >> 5)
        return code + 1

    def step_hz(self, code: int) -> Fraction:
        return self.frame_hz / (2 * self.half(code))
