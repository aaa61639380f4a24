"""The note nearest to a frequency, with its error in cents: ISO 16 (A4 is 440 Hz), in equal temperament."""

from __future__ import annotations

import math

A4_HZ = 440.0
_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
#: Semitones from C0 to A4.
_A4 = 57


def nearest(hz: float) -> tuple[str, float]:
    """The note nearest to a frequency above 0 in Hz, and how many cents the frequency lies above the note."""
    semitones = _A4 + 12 * math.log2(hz / A4_HZ)
    whole = round(semitones)
    return f"{_NAMES[whole % 12]}{whole // 12}", 100 * (semitones - whole)
