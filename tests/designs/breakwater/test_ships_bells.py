"""Ship's bells against the table of the watch, with ears that know only strokes and pauses."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

RATE_HZ = 750
TONE, STROKE = 1 << 4, 1 << 7
#: Struck in pairs, one stroke more each half hour (Penobscot Marine Museum, glossary).
WATCH = ["o", "oo", "oo o", "oo oo", "oo oo o", "oo oo oo", "oo oo oo o", "oo oo oo oo"]


def strokes_s(outputs: NDArray[np.uint8]) -> NDArray[np.float64]:
    """When the strokes begin, in seconds; the first output is that of time 0."""
    stroke = outputs & STROKE != 0
    return (np.flatnonzero(stroke[1:] & ~stroke[:-1]) + 1) / RATE_HZ


def heard(strokes: NDArray[np.float64]) -> list[tuple[float, str]]:
    """Each striking by its start and its strokes as in WATCH: over 5 s part strikings, over 1.2 s part pairs."""
    found = [(float(strokes[0]), "o")]
    for before, now in pairwise(strokes.tolist()):
        start, text = found[-1]
        if now - before > 5:
            found.append((now, "o"))
        else:
            found[-1] = (start, text + (" o" if now - before > 1.2 else "o"))
    return found


def restarted(drive: Drive, quick: int = 0) -> Driven:
    design = drive("ships_bells")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.switch(quick)
    design.restart()
    return design


@pytest.mark.parametrize(("quick", "half_hour_s"), [(0, 1800), (1, 30)])
def test_two_watches(drive: Drive, quick: int, half_hour_s: int) -> None:
    """Eight hours, at each half hour what the table says, to the step."""
    design = restarted(drive, quick)
    outputs = np.append(design.now(), design.steps((16 * half_hour_s + 15) * RATE_HZ))
    expected = [(half_hour_s * (number + 1), bells) for number, bells in enumerate(WATCH * 2)]
    assert heard(strokes_s(outputs)) == expected


def test_the_tone_sounds_during_strokes_and_only_then(drive: Drive) -> None:
    """375 Hz by the Fourier transform of one stroke, and silence elsewhere; strokes last half a second."""
    design = restarted(drive, 1)
    outputs = design.steps(31 * RATE_HZ)
    stroke = outputs & STROKE != 0
    assert not (outputs[~stroke] & TONE).any()
    tone = (outputs[stroke] & TONE != 0).repeat(2).astype(float)  # two samples a step: 1500 Hz
    assert len(tone) == RATE_HZ  # half a second
    spectrum = np.abs(np.fft.rfft(tone - tone.mean()))
    assert np.fft.rfftfreq(len(tone), 1 / 1500)[spectrum.argmax()] == pytest.approx(375, abs=2)


def test_no_more_than_three_strokes_in_a_second(drive: Drive) -> None:
    """The point keeps to WCAG 2.2, criterion 2.3.1."""
    strokes = strokes_s(restarted(drive, 1).steps(8 * 31 * RATE_HZ))
    assert ((strokes >= strokes[:, None]) & (strokes < strokes[:, None] + 1)).sum(axis=1).max() <= 3


@pytest.mark.parametrize("before_s", [10, 40, 500])
def test_the_switch_ends_a_half_hour_that_has_lasted_too_long(drive: Drive, before_s: int) -> None:
    """Turned to quick, the next bell comes within 30 seconds, and it is the first."""
    design = restarted(drive)
    design.steps(before_s * RATE_HZ)
    design.set(i0=1)
    first = strokes_s(design.steps(75 * RATE_HZ))
    assert first[0] <= 30
    assert len(first) in (3, 6)  # one bell and two, or three of them
