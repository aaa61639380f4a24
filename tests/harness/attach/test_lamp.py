"""The lamp: what is slow is told apart, what is faster than the eye is averaged, what is unknown is said to be so."""

from __future__ import annotations

import pytest
from forelight.harness.attach.lamp import looks

from .lines import trace

HZ = 1000.0


def shown(rows: list[tuple[int, int]], end: int, active: str = "high") -> list[tuple[int, int, float | None]]:
    found = looks(trace({"signal": rows}, end), HZ, active)
    assert found[-1].start + found[-1].lasts == end
    return [(look.start, look.lasts, look.lamps[0]) for look in found]


def test_slow_changes_are_told_apart() -> None:
    rows = [(0, 0), (500, 1), (1500, 0)]
    assert shown(rows, 2000) == [(0, 500, 0), (500, 1000, 1), (1500, 500, 0)]
    assert shown(rows, 2000, "low") == [(0, 500, 1), (500, 1000, 0), (1500, 500, 1)]


@pytest.mark.parametrize(("active", "share"), [("high", 0.3), ("low", 0.7)])
def test_what_is_faster_than_the_eye_is_averaged(active: str, share: float) -> None:
    # Talbot-Plateau law (Greene and Morrison 2023): above fusion a flicker is seen as its mean over time.
    rows = [(0, 1)] + [row for n in range(200) for row in ((10 * n + 3, 0), (10 * n + 10, 1))]
    (look,) = shown(rows, 2000, active)
    assert look[:2] == (0, 2000)
    assert look[2] == pytest.approx(share, abs=0.001)


@pytest.mark.parametrize("active", ["high", "low"])
def test_what_cannot_be_foretold_is_neither_lit_nor_dark(active: str) -> None:
    rows = [(0, 2), (500, 1), (1000, 2)]
    assert shown(rows, 2000, active) == [
        (0, 500, None),
        (500, 500, int(active == "high")),
        (1000, 1000, None),
    ]
