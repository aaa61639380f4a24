"""Columns of characters to numbers, against Python's own `int`."""

from __future__ import annotations

import re

import numpy as np
from forelight.sim.traces.columns import integers
from hypothesis import given, settings
from hypothesis import strategies as st

DIGITS = st.text("0123456789", max_size=20)
FIELDS = st.one_of(DIGITS, DIGITS.map(lambda text: f"-{text}"), st.text("0123456789-+.,/:x\x00", max_size=20))


@settings(max_examples=400, deadline=None)
@given(st.lists(st.tuples(FIELDS, st.sampled_from(["", " ", "\n", "7"])), max_size=8), st.integers(0, 9))
def test_integers(fields: list[tuple[str, str]], before: int) -> None:
    """Fields of any length, side by side or apart, from anywhere in the text."""
    text, starts = "9" * before, []
    for field, gap in fields:
        starts.append(len(text))
        text += field + gap
    flat = np.frombuffer(f"{text}\n".encode(), np.uint8)
    lengths = np.array([len(field) for field, _ in fields], np.int64)
    values, good = integers(flat, np.array(starts, np.int64), lengths)
    wanted = [bool(re.fullmatch(r"-?\d{1,18}", field, re.ASCII)) for field, _ in fields]
    assert good.tolist() == wanted
    assert values[good].tolist() == [
        int(field) for (field, _), fits in zip(fields, wanted, strict=True) if fits
    ]
