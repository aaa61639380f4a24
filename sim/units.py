"""Units of time and their lengths in seconds, exact: the one table of them."""

from __future__ import annotations

from fractions import Fraction

SECONDS = {
    "min": Fraction(60),
    "s": Fraction(1),
    "ms": Fraction(1, 10**3),
    "us": Fraction(1, 10**6),
    "ns": Fraction(1, 10**9),
    "ps": Fraction(1, 10**12),
    "fs": Fraction(1, 10**15),
}
