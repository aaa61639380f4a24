"""Berth board through a display that knows the published commands and refuses whatever comes too early."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

# Hitachi HD44780U data sheet: initializing by instruction, 4-bit interface, and execution times, the longer
# ones of those that are in use. Seconds.
POWER_UP, FIRST, SECOND, USUAL, CLEAR = 15e-3, 4.1e-3, 100e-6, 40e-6, 1.64e-3
ENABLE, TEXT = 1 << 5, 1 << 4
WHOLE_TEXT = 34 * 16  # steps: two addresses and twice sixteen characters


@dataclass
class Display:
    """Takes half a byte at each fall of the enable line; the address of line 2 is 40h."""

    hz: float
    now: int = 0  # steps since power-up
    free_at: float = POWER_UP
    halves: list[tuple[int, int]] = field(default_factory=list)
    starts: int = 0  # function sets of eight bits so far
    by_halves: bool = False
    on: bool = False
    lines: dict[int, str] = field(default_factory=dict)
    address: int = 0
    before: int = 0

    def see(self, outputs: int) -> None:
        self.now += 1
        if self.before & ENABLE and not outputs & ENABLE:
            assert outputs & 0x1F == self.before & 0x1F, "data moved as the enable line fell"
            self.take(outputs >> 4 & 1, outputs & 0xF)
        self.before = outputs

    def take(self, register: int, half: int) -> None:
        if self.now / self.hz < self.free_at and not self.halves:
            raise ValueError(f"too early at step {self.now}")
        if not self.by_halves:
            self.start(register, half)
            return
        self.halves.append((register, half))
        if len(self.halves) == 2:
            (register, upper), (again, lower) = self.halves
            assert register == again
            self.halves.clear()
            self.write(upper << 4 | lower) if register else self.command(upper << 4 | lower)

    def busy(self, seconds: float) -> None:
        self.free_at = self.now / self.hz + seconds

    def start(self, register: int, half: int) -> None:
        """The upper halves of function sets: three of eight bits, then one of four."""
        assert register == 0
        assert half == (3 if self.starts < 3 else 2)
        self.by_halves = half == 2
        self.busy([FIRST, SECOND, SECOND, USUAL][self.starts])
        self.starts += 1

    def command(self, byte: int) -> None:
        self.busy(CLEAR if byte in (1, 2, 3) else USUAL)
        match byte.bit_length():
            case 8:
                self.address = byte & 0x7F
            case 6:
                assert byte & 0x18 == 0x08, "four bits, two lines"
            case 4:
                self.on = bool(byte & 4)
            case 3:
                assert byte == 6, "to the right, without shift"
            case 1:
                self.lines, self.address = {}, 0
            case _:
                raise ValueError(f"command {byte:02x}")

    def write(self, byte: int) -> None:
        self.busy(USUAL)
        self.lines[self.address] = chr(byte)
        self.address += 1

    def line(self, start: int) -> str:
        return "".join(self.lines.get(start + column, " ") for column in range(16)) if self.on else ""


def watch(design: Driven, display: Display, steps: int) -> Display:
    for outputs in design.steps(steps).tolist():
        display.see(outputs)
    return display


def started(drive: Drive, levels: int, hz: float | None = None) -> tuple[Driven, Display]:
    design = drive("berth_board")
    assert design.datasheet.step is not None
    wanted = design.datasheet.step.wanted_hz
    assert wanted is not None
    design.switch(levels)
    design.restart()
    return design, watch(design, Display(hz or wanted), 16 * 11 + WHOLE_TEXT)


def expected(levels: int) -> tuple[str, str]:
    return (f"BERTH {levels & 7}".ljust(16), ("TAKEN" if levels & 8 else "FREE").ljust(16))


@pytest.mark.parametrize("levels", range(16))
def test_text(drive: Drive, levels: int) -> None:
    """At the wanted rate, from the moment at which the power is on."""
    _, display = started(drive, levels)
    assert (display.line(0x00), display.line(0x40)) == expected(levels)


@pytest.mark.parametrize("hz", [1500 * 4, 1500 * 100])
def test_too_fast_a_clock_is_refused(drive: Drive, hz: float) -> None:
    """The waits are there because of the rate: this is what the display makes of another one."""
    with pytest.raises(ValueError, match="too early"):
        started(drive, 0, hz)


@pytest.mark.parametrize("when", [0, 1, 15, 16, 200, WHOLE_TEXT - 1, WHOLE_TEXT])
def test_a_switch_that_moves(drive: Drive, when: int) -> None:
    """Whenever it moves, the text is of one setting at the end of each round, and at last of the new one."""
    design, display = started(drive, 0b0010)
    design.switch(0b1101)
    watch(design, display, when)
    design.switch(0b0111)
    watch(design, display, 2 * WHOLE_TEXT + 2)
    assert (display.line(0x00), display.line(0x40)) == expected(0b0111)


def test_it_rests_while_nothing_moves(drive: Drive) -> None:
    design, _ = started(drive, 5)
    assert not (design.steps(5000) & ENABLE).any()
