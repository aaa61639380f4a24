"""The weather report through a serial receiver that knows only what 8N1 is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

BIT = 10  # samples a bit: at 300 steps a second and 3000 samples a second
REPORT = "BREAKWATER: WIND SW {}, RAIN LATER\r\n"
CYCLE = 10 * (len(REPORT.format(0)) + 3)  # steps from report to report, with a rest of three characters


def receive(line: NDArray[np.bool_], bit: float = BIT) -> str:
    """The text on a sampled line; a frame that does not fit raises.

    It rests high; a low start bit, eight data bits lowest first and a high stop bit follow, each sampled in
    its middle (Microchip and NXP AN10386).
    """
    text, at = "", 0
    while True:
        falls = np.flatnonzero(line[at:-1] & ~line[at + 1 :])
        middles = at + 1 + (np.arange(10) + 0.5) * bit + (falls[0] if len(falls) else len(line))
        if middles[-1] >= len(line):
            return text
        start, *data, stop = (int(level) for level in line[middles.astype(int)])
        if start or not stop:
            raise ValueError(f"framing error at sample {int(middles[0])}")
        text += chr(sum(level << place for place, level in enumerate(data)))
        at = int(middles[-1])


def test_the_receiver_itself() -> None:
    """`U` is 0x55 and makes the line alternate (ASCII, ANSI X3.4); without its stop bit it is refused."""
    letter = [0, 1, 0, 1, 0, 1, 0, 1, 0, 1]
    line = np.repeat(np.array([1, *letter, *letter, 1], bool), BIT)
    assert receive(line) == "UU"
    with pytest.raises(ValueError, match="framing error"):
        receive(np.repeat(np.array([1, *letter[:-1], 0, 1], bool), BIT))


def line_of(design: Driven, steps: int) -> NDArray[np.bool_]:
    """The serial line, ten samples a step."""
    line: NDArray[np.bool_] = design.samples(steps, high=BIT // 2, low=BIT // 2) & 1 != 0
    return line


def restarted(drive: Drive, force: int) -> Driven:
    design = drive("weather_report")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == 300
    design.switch(force)
    design.restart()
    return design


@pytest.mark.parametrize("force", range(8))
def test_text(drive: Drive, force: int) -> None:
    """The report of the set force, again and again (0 to 7 are on the Beaufort scale of 0 to 12)."""
    line = line_of(restarted(drive, force), 3 * CYCLE + 10)
    assert receive(line) == REPORT.format(force) * 3


@pytest.mark.parametrize("error", [-0.03, 0.03])
def test_a_receiver_whose_clock_is_off(drive: Drive, error: float) -> None:
    """Ten bits stand a receiver that is 3 % off (about 5 % in all: common practice, no source)."""
    line = line_of(restarted(drive, 4), CYCLE + 10)
    assert receive(line, BIT * (1 + error)) == REPORT.format(4)


@pytest.mark.parametrize("missed", range(0, CYCLE, 7))
def test_a_listener_who_comes_late_hears_the_next_report(drive: Drive, missed: int) -> None:
    """The rest between reports is longer than a frame, so whoever waits for ten high bits is in step."""
    design = restarted(drive, 2)
    design.steps(missed)
    line = line_of(design, 2 * CYCLE)
    rested = next(at for at in range(len(line)) if line[at : at + 10 * BIT].all())
    assert REPORT.format(2) in receive(line[rested:])


@pytest.mark.parametrize("change", range(0, 10 * len(REPORT), 3))
def test_a_change_of_force_never_garbles(drive: Drive, change: int) -> None:
    """The digit is the old force or the new one, whenever the switches move."""
    design = restarted(drive, 3)
    before = line_of(design, change)
    design.switch(4)
    after = line_of(design, 2 * CYCLE - change)
    text = receive(np.concatenate([before, after]))
    assert text in {REPORT.format(first) + REPORT.format(4) for first in (3, 4)}


def test_it_rests_high_for_a_frame_after_the_restart(drive: Drive) -> None:
    assert line_of(restarted(drive, 0), 9).all()
