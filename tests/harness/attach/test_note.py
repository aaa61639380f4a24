"""Notes and cents, against the frequencies of equal temperament at A4 = 440 Hz (ISO 16; values from memory)."""

from __future__ import annotations

import pytest
from forelight.harness.attach.note import nearest


@pytest.mark.parametrize(
    ("hz", "name"),
    [(27.5, "A0"), (261.6256, "C4"), (369.9944, "F#4"), (440.0, "A4"), (493.8833, "B4"), (4186.009, "C8")],
)
def test_the_notes_of_the_scale(hz: float, name: str) -> None:
    found, cents = nearest(hz)
    assert found == name
    assert cents == pytest.approx(0, abs=0.01)


def test_a_just_fifth_lies_two_cents_above_the_tempered_one() -> None:
    # 3:2 is 701.955 cents, the tempered fifth 700.
    found, cents = nearest(660.0)
    assert found == "E5"
    assert cents == pytest.approx(1.955, abs=0.001)
