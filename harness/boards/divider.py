"""The clock divider, both ways: from a strap code to a step rate, and from a rate to the best codes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from forelight.sim.errors import UsageError

from .profile import Board


@dataclass(frozen=True)
class Setting:
    """A strap code, the step rate that it gives, and by how many percent that is above the rate asked for.

    `switches` are i7 down to i0, 1 for on, as they stand in a row; None where switches do not hold the code.
    """

    code: int
    hz: Fraction
    error_percent: float
    switches: tuple[int, ...] | None


def rate(board: Board, code: int) -> Fraction:
    """Step rate in hertz with this strap code."""
    if not 0 <= code < board.codes:
        raise UsageError(
            f"{board.name} has no strap code {code}", remedy=f"the codes are 0 to {board.codes - 1}"
        )
    return board.step_hz(code)


def setting(board: Board, code: int, wanted: Fraction | None = None) -> Setting:
    """What a strap code gives, beside the rate wanted (by default the very rate)."""
    hz = rate(board, code)
    error = 0.0 if wanted is None else float((hz / wanted - 1) * 100)
    switches = tuple(code >> bit & 1 for bit in reversed(range(8))) if board.strapped else None
    return Setting(code, hz, error, switches)


def codes_for(board: Board, hz: float | Fraction) -> tuple[Setting, ...]:
    """The strap codes whose rate is nearest to `hz` (several may share it), the smallest code first."""
    if not math.isfinite(hz) or hz <= 0:
        raise UsageError(f"found {hz} as a step rate", remedy="give a rate above 0 Hz")
    wanted = Fraction(hz)
    settings = [setting(board, code, wanted) for code in _candidates(board, wanted)]
    least = min(abs(item.hz - wanted) for item in settings)
    return tuple(item for item in settings if abs(item.hz - wanted) == least)


def span(board: Board) -> tuple[Fraction, Fraction]:
    """The slowest and the fastest step rate of the divider, in hertz."""
    rates = [
        rate(board, code) for code in (range(board.codes) if board.codes <= 256 else (0, board.codes - 1))
    ]
    return min(rates), max(rates)


def _candidates(board: Board, wanted: Fraction) -> range:
    """Codes among which the nearest is: all, or for a long counter the two around the exact half."""
    if board.codes <= 256:
        return range(board.codes)
    half = min(max(math.floor(board.frame_hz / (2 * wanted)), 1), board.codes)
    return range(half - 1, min(half + 1, board.codes))
