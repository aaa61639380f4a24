"""The transfer function of IEC 61966-2-1, the way back from a screen's level to light."""

from __future__ import annotations


def luminance_from_srgb(level: int) -> float:
    """The share of full luminance that an 8-bit screen level has (IEC 61966-2-1, 5.2)."""
    share = level / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
