"""The fog bell against the collision regulations (COLREGs 1972), rule 35, for vessels at anchor and aground."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

RATE_HZ = 750
TONE, SIGNAL = 1 << 4, 1 << 7
RAPID_S = 5  # rule 35(g), at anchor: rung rapidly for about 5 seconds ...
LONGEST_INTERVAL_S = 60  # ... at intervals of not more than one minute
SEPARATE = 3  # rule 35(h), aground: so many separate and distinct strokes before and after the rapid ringing


def strokes_s(outputs: NDArray[np.uint8]) -> NDArray[np.float64]:
    """When the strokes begin: the tone's high steps that no other comes before within 10 ms."""
    high = np.flatnonzero(outputs & TONE) / RATE_HZ
    starts: NDArray[np.float64] = high[np.append(True, np.diff(high) > 0.01)]
    return starts


def ringing(strokes: NDArray[np.float64]) -> list[tuple[str, float, float]]:
    """Kind, first and last stroke of each part: rapid where the strokes are less than half a second apart."""
    gaps = np.diff(strokes)
    near = np.append(gaps, np.inf) < 0.5
    near[1:] |= gaps < 0.5
    parts, at = [], 0
    for rapid, run in groupby(near.tolist()):
        count = len(list(run))
        parts.append((("rapid" if rapid else f"{count} separate"), strokes[at], strokes[at + count - 1]))
        at += count
    return parts


def restarted(drive: Drive, aground: int) -> Driven:
    design = drive("fog_bell")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.switch(aground)
    design.restart()
    return design


def ten_minutes(drive: Drive, aground: int) -> NDArray[np.uint8]:
    design = restarted(drive, aground)
    return np.append(design.now(), design.steps(600 * RATE_HZ))


def signals(strokes: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """The strokes of each signal; there are never more than 60 s from one to the next."""
    found = np.split(strokes, np.flatnonzero(np.diff(strokes) > 5) + 1)
    starts = [signal[0] for signal in found]
    assert (np.diff([0, *starts, 600]) <= LONGEST_INTERVAL_S).all()
    return found


def test_at_anchor(drive: Drive) -> None:
    for signal in signals(strokes_s(ten_minutes(drive, 0))):
        [(kind, first, last)] = ringing(signal)
        assert kind == "rapid"
        assert last - first == pytest.approx(RAPID_S, abs=0.5)


def test_aground(drive: Drive) -> None:
    """Immediately before and after: no pause within a signal is longer than that between two separate strokes."""
    for signal in signals(strokes_s(ten_minutes(drive, 1))):
        before, rapid, after = ringing(signal)
        assert (before[0], rapid[0], after[0]) == (f"{SEPARATE} separate", "rapid", f"{SEPARATE} separate")
        assert rapid[2] - rapid[1] == pytest.approx(RAPID_S, abs=0.5)
        assert np.diff(signal).max() == pytest.approx((before[2] - before[1]) / (SEPARATE - 1))


def test_pitch(drive: Drive) -> None:
    """Half the step rate, by the Fourier transform of the rapid ringing, two samples a step."""
    tone = (ten_minutes(drive, 0)[: 9 * RATE_HZ] & TONE != 0).repeat(2).astype(float)
    spectrum = np.abs(np.fft.rfft(tone - tone.mean()))
    assert np.fft.rfftfreq(len(tone), 0.5 / RATE_HZ)[spectrum.argmax()] == pytest.approx(RATE_HZ / 2, abs=0.2)


@pytest.mark.parametrize("aground", [0, 1])
def test_the_point_is_lit_for_the_whole_signal_and_no_longer(drive: Drive, aground: int) -> None:
    """Every tone falls within a lit point, and the point goes out at most a separate stroke's time after the last."""
    outputs = ten_minutes(drive, aground)
    assert not (outputs[outputs & SIGNAL == 0] & TONE).any()
    out = np.flatnonzero(np.diff((outputs & SIGNAL != 0).astype(int)) == -1) / RATE_HZ
    strokes = strokes_s(outputs)
    assert all(0 < end - strokes[strokes < end][-1] <= 1.1 for end in out)


@pytest.mark.parametrize("aground", [0, 1])
def test_no_more_than_three_strokes_in_a_second(drive: Drive, aground: int) -> None:
    """The tone is on a segment of the display: WCAG 2.2, criterion 2.3.1."""
    strokes = strokes_s(ten_minutes(drive, aground))
    assert ((strokes >= strokes[:, None]) & (strokes < strokes[:, None] + 1)).sum(axis=1).max() <= 3
