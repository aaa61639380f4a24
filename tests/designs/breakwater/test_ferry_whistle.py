"""The ferry's whistle against the collision regulations (COLREGs 1972): blasts, intervals and pitch."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

RATE_HZ = 750
TONE, BLAST, MUTE = 1 << 4, 1 << 7, 1 << 2
PROLONGED_S = (4, 6)  # rule 32(c)
LONGEST_INTERVAL_S = 120  # rule 35(a): a power-driven vessel making way through the water
SHORT_VESSEL_HZ = (250, 700)  # annex III 1(b), from memory: a vessel of less than 75 m


def blasts(sounding: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Start and duration of each whole blast, in seconds."""
    found, at = [], 0
    for level, run in groupby(sounding):
        steps = len(list(run))
        if level and at + steps < len(sounding):
            found.append((at / RATE_HZ, steps / RATE_HZ))
        at += steps
    return found


def restarted(drive: Drive, levels: int = 0) -> Driven:
    design = drive("ferry_whistle")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.switch(levels)
    design.restart()
    return design


@pytest.mark.parametrize("levels", [0, MUTE])
def test_blasts_and_intervals(drive: Drive, levels: int) -> None:
    """Ten minutes: every blast is prolonged and comes within two minutes of the last, muted or not."""
    design = restarted(drive, levels)
    signal = blasts(np.append(design.now(), design.steps(600 * RATE_HZ)) & BLAST != 0)
    starts = np.array([start for start, _ in signal])
    assert starts[0] == 0
    assert len(starts) >= 600 / LONGEST_INTERVAL_S
    assert all(PROLONGED_S[0] <= duration <= PROLONGED_S[1] for _, duration in signal)
    assert (np.diff(starts) <= LONGEST_INTERVAL_S).all()


def test_the_tone_sounds_during_blasts_and_only_then(drive: Drive) -> None:
    """From the restart on, each pair of steps holds a high one if there is a blast, and none if there is not."""
    design = restarted(drive)
    pairs = np.append(design.now(), design.steps(200 * RATE_HZ - 1)).reshape(-1, 2)
    tone, blast = pairs & TONE != 0, pairs & BLAST != 0
    assert (tone == blast & [False, True]).all()


def test_mute_silences_only_the_tone(drive: Drive) -> None:
    """i2 takes the tone away and leaves the lamp and the rhythm alone, also when it changes halfway."""
    heard, muted = restarted(drive), restarted(drive, MUTE)
    plain, silent = heard.steps(RATE_HZ), muted.steps(RATE_HZ)
    assert not (silent & TONE).any()
    assert np.array_equal(plain & ~np.uint8(TONE), silent)
    muted.set(i2=0)
    assert np.array_equal(heard.steps(100 * RATE_HZ), muted.steps(100 * RATE_HZ))


def test_pitch(drive: Drive) -> None:
    """Half the step rate, by the Fourier transform of four seconds at 3000 Hz; within annex III's range."""
    design = restarted(drive)
    wave = (design.samples(4 * RATE_HZ, high=2, low=2) & TONE != 0).astype(float)
    assert len(wave) == 12_000
    spectrum = np.abs(np.fft.rfft(wave - wave.mean()))
    pitch_hz = np.fft.rfftfreq(len(wave), 1 / 3000)[spectrum.argmax()]
    assert pitch_hz == pytest.approx(RATE_HZ / 2, abs=0.25)  # the transform's resolution
    assert SHORT_VESSEL_HZ[0] <= pitch_hz <= SHORT_VESSEL_HZ[1]
