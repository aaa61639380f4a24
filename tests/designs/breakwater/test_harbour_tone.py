"""Harbour tone against mpmath's sine, against the spectrum that eight bits allow, and against the pitch."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from mpmath import mp, mpf, nint

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

PERIOD = 64
OCTAVES = range(4)


def test_every_entry(drive: Drive) -> None:
    """mpmath at 50 digits, rounded to the nearest; no entry is near enough to a half to be in doubt."""
    design = drive("harbour_tone")
    design.restart()
    for place, sample in enumerate([design.outputs, *design.steps(PERIOD - 1).tolist()]):
        with mp.workdps(50):
            exact = 128 + 127 * mp.sin(2 * mp.pi * mpf(place) / PERIOD)
            assert abs(exact - nint(exact)) < mpf("0.499")
            assert sample == int(nint(exact))


@pytest.mark.parametrize("octave", OCTAVES)
def test_pitch(drive: Drive, octave: int) -> None:
    """A4 is 440 Hz (ISO 16) and an octave doubles it: the strongest line of the spectrum at the wanted rate."""
    design = drive("harbour_tone")
    assert design.datasheet.step is not None
    wanted = design.datasheet.step.wanted_hz
    assert wanted is not None
    design.switch(octave)
    design.restart()
    samples = design.steps(int(wanted / 10)).astype(float)
    strongest = int(np.argmax(np.abs(np.fft.rfft(samples - samples.mean()))))
    assert strongest * 10 == 440 * 2**octave


def test_purity(drive: Drive) -> None:
    """Signal to noise of N bits is 6.02 N + 1.76 dB (Bennett 1948, from memory): 49.9 dB, within 1 dB for one table."""
    design = drive("harbour_tone")
    design.restart()
    power = np.abs(np.fft.rfft(design.steps(PERIOD).astype(float)))[1:] ** 2
    assert 10 * np.log10(power[0] / power[1:].sum()) == pytest.approx(6.02 * 8 + 1.76, abs=1)
