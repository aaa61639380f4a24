"""The harbour tune against equal temperament: every note's pitch and length, measured on the wave."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import mpmath
import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

RATE_HZ = 50_000
BEAT_S = 0.35
TONE, FIRST, MUTE, FORK = 1 << 4, 1 << 7, 1 << 0, 1 << 1
RESOLUTION_HZ = RATE_HZ / 2**18 / 2  # of an 18-bit phase, rounded to nearest
#: Semitones from A4 by the keyboard, and the frequencies that tables of equal temperament print (from memory).
SEMITONES = {"C4": -9, "G4": -2, "A4": 0, "B4": 2, "C5": 3, "D5": 5, "E5": 7}
TABLE_HZ = {"C4": 261.63, "G4": 392.00, "A4": 440.00, "B4": 493.88, "C5": 523.25, "D5": 587.33, "E5": 659.26}
CALL = "G4 C5 D5 E5 E5 C5 A4 A4 C5 B4 G4 G4 C5 C5 C5 - - C4"


def pitch(note: str) -> float:
    """A semitone is the twelfth root of two, and A4 is 440 Hz (ISO 16); mpmath takes the root."""
    return float(440 * mpmath.root(2, 12) ** SEMITONES[note])


def restarted(drive: Drive, switches: int = 0) -> Driven:
    design = drive("harbour_tune")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.switch(switches)
    design.restart()
    return design


def measured(tone: NDArray[np.uint8]) -> float:
    """Hertz by the time from the first rise to the last; 0 for silence."""
    rises = np.flatnonzero((tone[1:] & TONE != 0) & (tone[:-1] & TONE == 0))
    return float((len(rises) - 1) * RATE_HZ / (rises[-1] - rises[0])) if len(rises) else 0.0


def test_the_table_is_that_of_the_root() -> None:
    assert {note: round(pitch(note), 2) for note in SEMITONES} == TABLE_HZ


def test_every_note(drive: Drive) -> None:
    """Pitch within the phase's resolution, and a step at either end of the measurement; lengths to the beat."""
    design = restarted(drive)
    beat = round(BEAT_S * RATE_HZ)
    wave = np.append(design.now(), design.steps(2 * len(CALL.split()) * beat - 1))
    at = 0
    for note, held in groupby(CALL.split() * 2):
        length = len(list(held)) * beat
        hertz = measured(wave[at : at + length])
        if note == "-":
            assert hertz == 0
        else:
            uncertain = RESOLUTION_HZ + 2 * pitch(note) / length
            assert hertz == pytest.approx(pitch(note), abs=uncertain), note
            assert (
                abs(1200 * np.log2(hertz / pitch(note))) < 1
            )  # cents; the ear tells 5 (common practice, no source)
        at += length
    marks = np.flatnonzero(np.diff((wave & FIRST != 0).astype(int)))
    assert (marks + 1).tolist() == [beat, len(CALL.split()) * beat, (len(CALL.split()) + 1) * beat]


def test_tuning_fork(drive: Drive) -> None:
    """A4 over ten seconds; a square wave by its spectrum: odd harmonics only, the third a third as strong."""
    wave = restarted(drive, FORK).steps(10 * RATE_HZ)
    assert measured(wave) == pytest.approx(440, abs=RESOLUTION_HZ + 0.001)
    level = (wave & TONE != 0).astype(float)
    spectrum = np.abs(np.fft.rfft((level - level.mean()) * np.hanning(len(level))))
    strength = [spectrum[4400 * n - 3 : 4400 * n + 4].max() for n in (1, 2, 3)]
    assert strength[1] < 0.01 * strength[0]
    assert strength[2] == pytest.approx(strength[0] / 3, rel=0.03)


def test_edges_are_late_by_a_step_at_most(drive: Drive) -> None:
    """Half periods of A4 are 56 or 57 steps: 50000 / 880 = 56.8."""
    level = restarted(drive, FORK).steps(RATE_HZ) & TONE != 0
    halves = np.diff(np.flatnonzero(level[1:] != level[:-1]))
    assert set(halves) == {56, 57}


def test_mute(drive: Drive) -> None:
    muted, plain = restarted(drive, MUTE), restarted(drive)
    assert not (muted.steps(RATE_HZ) & TONE).any()
    plain.steps(RATE_HZ)
    muted.set(i0=0)
    assert np.array_equal(muted.steps(RATE_HZ), plain.steps(RATE_HZ))
