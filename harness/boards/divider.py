"""The clock divider, both ways: from a strap code to a step rate, and from a rate to the best codes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from .profile import Board

#: Codes of which all are tried; boards with more have a counter.
LISTED = 256

#: Rates that anybody may want: a step in thirty years, and more than any logic can follow.
SLOWEST_HZ, FASTEST_HZ = 1e-9, 1e12


@frozen
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
    if not SLOWEST_HZ <= hz <= FASTEST_HZ:
        raise UsageError(
            f"{hz} Hz is no step rate", remedy=f"give a rate above 0 Hz: {SLOWEST_HZ:g} to {FASTEST_HZ:g}"
        )
    wanted = Fraction(hz)
    settings = [setting(board, code, wanted) for code in _candidates(board, wanted)]
    least = min(abs(item.hz - wanted) for item in settings)
    return tuple(item for item in settings if abs(item.hz - wanted) == least)


def codes_between(board: Board, low: float, high: float) -> tuple[range, ...]:
    """The strap codes whose rate lies from `low` to `high` hertz, as ranges of neighbours, the smallest first."""
    if high <= 0:
        return ()
    if board.codes > LISTED:  # a long counter: the higher the code, the lower the rate
        first = max(math.ceil(board.frame_hz / (2 * Fraction(high))), 1) - 1
        end = min(math.floor(board.frame_hz / (2 * Fraction(low))), board.codes) if low > 0 else board.codes
        return (range(first, end),) if first < end else ()
    found: list[range] = []
    for code in range(board.codes):
        if low <= board.step_hz(code) <= high:
            start = found.pop().start if found and found[-1].stop == code else code
            found.append(range(start, code + 1))
    return tuple(found)


def setting_word(board: Board) -> str:
    """What the number is called that sets the step rate of this board."""
    return "strap code" if board.strapped else "setting of the step source"


def span(board: Board) -> tuple[Fraction, Fraction]:
    """The slowest and the fastest step rate of the divider, in hertz."""
    rates = [
        rate(board, code) for code in (range(board.codes) if board.codes <= LISTED else (0, board.codes - 1))
    ]
    return min(rates), max(rates)


def _candidates(board: Board, wanted: Fraction) -> Sequence[int]:
    """Codes among which the nearest is: those with the halves just below and just above the exact one."""
    exact = board.frame_hz / (2 * wanted)
    if board.codes > LISTED:  # a long counter
        half = min(max(math.floor(exact), 1), board.codes)
        return range(half - 1, min(half + 1, board.codes))
    halves = [board.half(code) for code in range(board.codes)]
    below = max((half for half in halves if half <= math.floor(exact)), default=0)
    above = min((half for half in halves if half >= math.ceil(exact)), default=0)
    return [code for code, half in enumerate(halves) if half in (below, above)]
