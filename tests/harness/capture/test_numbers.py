"""Numbers of a column at once, against a plain reading of them one by one."""

from __future__ import annotations

import random
import re
from fractions import Fraction

import numpy as np
import pytest
from forelight.harness.capture.numbers import numbers

PLAIN = re.compile(r"([+-]?)([0-9]*)[.,]?([0-9]*)(?:[eE]([+]?|-)([0-9]{1,3}))?(?:([munpf]?)s)?")
#: As the International System of Units has them.
PREFIXES = {"": 0, "m": -3, "u": -6, "n": -9, "p": -12, "f": -15}


def plain(text: str) -> Fraction | None:
    """The number, exactly; None where there is none, or its power of ten lies beyond those that are read."""
    found = PLAIN.fullmatch(text)
    if found is None or not found[2] + found[3]:
        return None
    sign, whole, after, down, power, prefix = found.groups()
    exponent = int(f"{down}{power}") if power else 0
    if abs(exponent) > 30:
        return None
    exact = Fraction(int(f"{sign}{whole}{after}")) * Fraction(10) ** (exponent - len(after))
    return exact * Fraction(10) ** PREFIXES[prefix or ""]


def read(texts: list[str]) -> list[float | None]:
    raw = [text.encode() for text in texts]
    lengths = np.array([len(each) for each in raw], np.int64)
    starts = np.concatenate(([0], np.cumsum(lengths + 1)[:-1]))
    values, good = numbers(np.frombuffer(b"".join(each + b";" for each in raw), np.uint8), starts, lengths)
    return [value if fine else None for value, fine in zip(values.tolist(), good.tolist(), strict=True)]


def drawn(rng: random.Random) -> str:
    """Something that is a number more often than not."""

    def digits(most: int) -> str:
        return "".join(rng.choices("0123456789", k=rng.randint(0, most)))

    parts = [
        rng.choice(["", "", "+", "-"]),
        digits(7),
        rng.choice(["", ".", ","]),
        digits(7),
        rng.choice(["", "", "e", "E"]) and rng.choice("eE") + rng.choice(["", "+", "-"]) + digits(2),
        rng.choice(["", "", "s", *(f"{prefix}s" for prefix in PREFIXES)]),
    ]
    if rng.random() < 0.2:
        parts.insert(rng.randrange(6), rng.choice(["s", "m", "e", "-", ".", "x", " "]))
    return "".join(parts)


def test_a_column_is_read_as_its_fields_one_by_one() -> None:
    seed = 13
    print("seed", seed)
    rng = random.Random(seed)
    texts = [drawn(rng) for _ in range(4000)]
    wrong = 0
    for text, value in zip(texts, read(texts), strict=True):
        exact = plain(text)
        if exact is None:
            wrong += 1
            assert value is None, text
        else:
            assert value is not None, text
            assert value == pytest.approx(float(exact), rel=1e-14, abs=0), text
    assert 500 < wrong < 3000


def test_as_many_digits_as_a_float_is_printed_with() -> None:
    """What Python prints for a float, and more: within the last place of what it reads."""
    words = [
        "0.005333333333333333",
        "0.00012345678901234567",
        "123456789012345678901234",
        "3.14159265358979323846",
    ]
    text = np.frombuffer("".join(words).encode(), np.uint8)
    lengths = np.array([len(word) for word in words])
    values, good = numbers(text, np.cumsum(lengths) - lengths, lengths)
    assert good.all()
    assert np.allclose(values, [float(word) for word in words], rtol=3e-16, atol=0)
