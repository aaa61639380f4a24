"""Arithmetic as one-bit gates: adders, multipliers, dividers, powers and comparisons, the plain school circuits."""

from __future__ import annotations

from collections.abc import Sequence

from .builder import ONE, ZERO, Bit, Builder

Bits = list[Bit]


def extend(bits: Sequence[Bit], width: int, signed: bool) -> Bits:
    """Cut, or extend with zeros or with the top bit, to `width` bits."""
    fill = bits[-1] if signed and bits else ZERO
    return [*bits[:width], *[fill] * (width - len(bits))]


def inverted(to: Builder, bits: Sequence[Bit]) -> Bits:
    return [to.inverter(bit) for bit in bits]


def subtract(to: Builder, a: Sequence[Bit], b: Sequence[Bit]) -> tuple[Bits, Bit]:
    """The difference, and whether it is not negative (of unsigned words)."""
    return to.add(a, inverted(to, b), ONE)


def negate(to: Builder, a: Sequence[Bit]) -> Bits:
    """The complement plus one: each bit is inverted if one below it is set."""
    result, below = [], ZERO
    for place, bit in enumerate(a):
        result.append(to.differ(bit, below) if place else bit)
        below = to.either(below, bit) if place else bit
    return result


def less(to: Builder, a: Sequence[Bit], b: Sequence[Bit], signed: bool) -> Bit:
    """Whether `a` is less than `b`, both of one width; signed words are compared with their top bits inverted."""
    if signed and a:
        a, b = [*a[:-1], to.inverter(a[-1])], [*b[:-1], to.inverter(b[-1])]
    return to.inverter(to.carry_out(a, inverted(to, b), ONE))


def equal(to: Builder, a: Sequence[Bit], b: Sequence[Bit]) -> Bit:
    return to.inverter(to.any_of([to.differ(x, y) for x, y in zip(a, b, strict=True)]))


def multiply(to: Builder, a: Sequence[Bit], b: Sequence[Bit]) -> Bits:
    """The low bits of a product, as many as each operand has: a row of ands and an adder for each bit of `b`."""
    width = len(a)
    total: Bits = [ZERO] * width
    for place, bit in enumerate(b):
        if bit == ZERO:
            continue
        row = to.both_all(a[: width - place], bit)
        added = to.add(total[place:], row)[0] if place else row
        total = total[:place] + added
    return total


def divide(to: Builder, a: Sequence[Bit], b: Sequence[Bit]) -> tuple[Bits, Bits]:
    """Quotient and rest of unsigned words of one width, by restoring division; of no use where `b` is 0."""
    divisor = [*b, ZERO]
    rest: Bits = [ZERO] * len(divisor)
    quotient = []
    for bit in reversed(a):
        rest = [bit, *rest[:-1]]
        tried, fits = subtract(to, rest, divisor)
        rest = to.choose_all(fits, rest, tried)
        quotient.append(fits)
    return quotient[::-1], rest[:-1]


def signed_division(
    to: Builder, a: Sequence[Bit], b: Sequence[Bit], signed: bool, floor: bool
) -> tuple[Bits, Bits]:
    """Quotient and rest, towards zero or minus infinity; both 0 where `b` is 0."""
    nonzero = to.any_of(b)
    if not signed:
        quotient, rest = divide(to, a, b)
    else:
        opposed = to.differ(a[-1], b[-1])
        magnitude = to.choose_all(b[-1], b, negate(to, b))
        quotient, rest = divide(to, to.choose_all(a[-1], a, negate(to, a)), magnitude)
        down = negate(to, quotient)
        rest_sign = a[-1]
        if floor:
            # What is left over makes the quotient one less, and the rest that much short of the divisor.
            uneven = to.both(to.any_of(rest), opposed)
            down = to.choose_all(uneven, down, inverted(to, quotient))
            rest = to.choose_all(uneven, rest, subtract(to, magnitude, rest)[0])
            rest_sign = b[-1]
        quotient = to.choose_all(opposed, quotient, down)
        rest = to.choose_all(rest_sign, rest, negate(to, rest))
    return to.both_all(quotient, nonzero), to.both_all(rest, nonzero)


def power(to: Builder, base: Sequence[Bit], exponent: Sequence[Bit], width: int) -> Bits:
    """The low bits of a power by square and multiply; `base` has at least `width` bits."""
    square = list(base[:width])
    result = extend([ONE], width, False)
    for place, bit in enumerate(exponent):
        if bit != ZERO:
            result = to.choose_all(bit, result, multiply(to, result, square))
        if place + 1 < len(exponent):
            square = multiply(to, square, square)
    return result


def shift(to: Builder, bits: Sequence[Bit], amount: Sequence[Bit], fill: Bit, left: bool) -> Bits:
    """The word moved by an unsigned amount of any size: a row of choices for each bit of the amount."""
    found = list(bits)
    width = len(found)
    for place, bit in enumerate(amount):
        step = 1 << place
        if step >= width:
            return to.choose_all(to.any_of(amount[place:]), found, [fill] * width)
        moved = [fill] * step + found[:-step] if left else found[step:] + [fill] * step
        found = to.choose_all(bit, found, moved)
    return found
