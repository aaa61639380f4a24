"""Numbers as a person reads them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from forelight.sim.plain_text import listed


def hertz(rate: Fraction | float) -> str:
    """A rate with its unit, and below one a second the time of a step beside it.

    >>> hertz(1500), hertz(Fraction(750, 2048)), hertz(25_000_000)
    ('1500 Hz', '0.3662 Hz (a step lasts 2.731 s)', '25 MHz')
    """
    value = float(rate)
    if value >= 1e6:
        return f"{value / 1e6:.6g} MHz"
    if value >= 1e4:
        return f"{value / 1e3:.6g} kHz"
    if value < 1:
        return f"{value:.4g} Hz (a step lasts {1 / value:.4g} s)"
    return f"{value:.6g} Hz"


def seconds(value: float, digits: int = 3) -> str:
    """A time with so many digits after the point, or in a smaller unit where it is short.

    >>> seconds(0), seconds(11.04132), seconds(0.0026671, 6), seconds(7.123456e-6), seconds(20e-9)
    ('0.000 s', '11.041 s', '0.002667 s', '7.123 us', '20 ns')
    """
    if value == 0 or value >= 1e-3:
        return f"{value:.{digits}f} s"
    return f"{value * 1e6:.4g} us" if value >= 1e-6 else f"{value * 1e9:.4g} ns"


def apart(percent: float) -> str:
    """By how much a number lies beside another.

    >>> apart(0.5), apart(-12.3456)
    ('0.5 % above', '12.35 % below')
    """
    return f"{abs(percent):.4g} % {'above' if percent > 0 else 'below'}"


def ranges(lines: Sequence[str]) -> str:
    """Lines of the board, neighbours drawn together.

    >>> ranges(["i7", "o0", "o1", "o2", "o4", "step"])
    'i7, o0 to o2, o4, step'
    """
    runs: list[list[str]] = []
    for line in lines:
        before = runs[-1][-1] if runs else ""
        if before[:1] == line[:1] and before[1:].isdecimal() and line[1:] == str(int(before[1:]) + 1):
            runs[-1].append(line)
        else:
            runs.append([line])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def either(names: Sequence[str], most: int = 6) -> str:
    """One of these; where they are many, how many more there are.

    >>> either(["7"]), either(["251", "252", "253"]), either("abcdefgh")
    ('7', '251, 252 or 253', 'a, b, c, d, e, f or 2 others')
    """
    named = [*names[:most], *([f"{len(names) - most} others"] if len(names) > most else [])]
    return listed(named, "or")
