"""Numbers as instruments print them, a whole column at a time."""

from __future__ import annotations

import numpy as np
from forelight.sim.traces.columns import Bytes, Ints, integers
from forelight.sim.units import SECONDS
from numpy.typing import NDArray

from .record import Floats

CHUNK = 1 << 16  # fields handled at a time, so that the work stays in the processor's cache
PREFIX = {unit[0]: float(seconds) for unit, seconds in SECONDS.items() if len(unit) == 2}
LONGEST = 40  # characters of a number
ENOUGH = 10**17  # digits further than that are more than a double holds
TENS = 10.0 ** np.arange(0, 23)  # the powers of ten that a double holds exactly


def numbers(text: Bytes, starts: Ints, lengths: Ints) -> tuple[Floats, NDArray[np.bool_]]:
    """Fields such as `-12.5`, `3,25`, `1.5e-3`, `20us` as floats (units of time to seconds), and a mask of those that
    are numbers.

    Point and comma both are decimal signs; whoever calls sees to it that no field holds both in two meanings.
    """
    values = np.empty(len(starts))
    good = np.empty(len(starts), bool)
    for begin in range(0, len(starts), CHUNK):
        part = slice(begin, begin + CHUNK)
        values[part], good[part] = _chunk(text, starts[part], starts[part] + lengths[part])
    return values, good


def _chunk(text: Bytes, starts: Ints, stops: Ints) -> tuple[Floats, NDArray[np.bool_]]:
    scale, stops = _unit(text, starts, stops)
    power, stops = _exponent(text, starts, stops)
    first = text[np.minimum(starts, len(text) - 1)]
    negative = first == ord("-")
    starts = starts + (negative | (first == ord("+")))
    whole = np.zeros(len(starts), np.int64)
    digits = np.zeros(len(starts), np.int64)
    after, beyond = np.zeros(len(starts), np.int64), np.zeros(len(starts), np.int64)
    point = np.zeros(len(starts), bool)
    good = (stops > starts) & (stops - starts <= LONGEST) & (np.abs(power) <= 30)
    for place in range(int(np.where(good, stops - starts, 0).max(initial=0))):
        byte = text[np.minimum(starts + place, len(text) - 1)]
        inside = starts + place < stops
        digit = byte - np.uint8(ord("0"))
        real = inside & (digit <= 9)
        sign = inside & ((byte == ord(".")) | (byte == ord(",")))
        good &= ~inside | real | (sign & ~point)
        told = real & (whole < ENOUGH)
        whole = np.where(told, whole * 10 + digit, whole)
        digits += real
        after += told & point
        beyond += real & ~told & ~point
        point |= sign
    good &= digits > 0
    power = np.where(good, power - after + beyond, 0)
    small, large = TENS[np.minimum(np.maximum(-power, 0), 22)], TENS[np.minimum(np.maximum(power, 0), 22)]
    values = whole / small * large
    far = np.abs(power) > 22
    values[far] *= 10.0 ** (power[far] - 22 * np.sign(power[far]))
    values *= scale
    return np.where(negative, -values, values), good


def _unit(text: Bytes, starts: Ints, stops: Ints) -> tuple[Floats, Ints]:
    """The unit of time at the end, and where the number before it stops."""
    scale = np.ones(len(starts))
    seconds = (stops > starts) & (text[np.maximum(stops - 1, 0)] == ord("s"))
    if not seconds.any():
        return scale, stops
    stops = stops - seconds
    for letter, factor in PREFIX.items():
        here = seconds & (stops > starts) & (text[np.maximum(stops - 1, 0)] == ord(letter))
        scale[here] = factor
        stops = stops - here
    return scale, stops


def _exponent(text: Bytes, starts: Ints, stops: Ints) -> tuple[Ints, Ints]:
    """The power of ten after an e, and where the number before it stops."""
    power = np.zeros(len(starts), np.int64)
    mark = np.full(len(starts), -1, np.int64)
    for back in range(2, 6):
        at = stops - back
        here = (at > starts) & ((text[np.maximum(at, 0)] | 0x20) == ord("e"))
        mark = np.where(here, at, mark)
    rows = np.flatnonzero(mark >= 0)
    if not len(rows):
        return power, stops
    begin = mark[rows] + 1
    begin = begin + (text[begin] == ord("+"))
    values, good = integers(text, begin, stops[rows] - begin)
    power[rows] = np.where(good, values, 99)
    stops = stops.copy()
    stops[rows] = mark[rows]
    return power, stops
