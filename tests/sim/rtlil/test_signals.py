"""Signals of RTLIL text: any nesting of names, slices, concatenations and constants means the bits it says."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from forelight.sim.netlist import Word
from forelight.sim.rtlil.reader import parse
from hypothesis import given, seed
from hypothesis import strategies as st

#: Input ports: name and width; values are numbered in this order.
WIRES = {"a": 5, "b": 1, "none": 0, "wide": 70}


@dataclass
class Signal:
    """Text, and what each bit is, lowest first: `0`, `1`, `x` or a bit of an input."""

    text: str
    bits: list[str]


def shown(word: Word) -> list[str]:
    """The bits of a word, lowest first, in the notation of `Signal`."""
    names = {
        f"v{number}[{bit}+:1]": f"{name}{bit}"
        for number, (name, w) in enumerate(WIRES.items())
        for bit in range(w)
    }
    return [names[str(bit)] if str(bit) in names else str(bit)[2:] for bit in word.bits()]


def read(text: str, width: int) -> list[str]:
    lines = [f"wire width {width} input {n} \\{name}" for n, (name, width) in enumerate(WIRES.items())]
    text = "\n".join(["module \\t", *lines, f"wire width {width} output 9 \\y", f"connect \\y {text}", "end"])
    return shown(parse(text).outputs["y"])


def name(of: str) -> Signal:
    return Signal(f"\\{of}", [f"{of}{bit}" for bit in range(WIRES[of])])


def binary(digits: str, extra: int) -> Signal:
    """Digits, highest first, of which a constant may state fewer than its width: the rest is 0, or x after x."""
    fill = "x" if digits.startswith("x") else "0"
    return Signal(f"{len(digits) + extra}'{digits}", list(digits[::-1]) + [fill] * extra)


def integer(value: int) -> Signal:
    return Signal(str(value), list(f"{value & 0xFFFFFFFF:032b}"[::-1]))


def slices(signal: Signal) -> st.SearchStrategy[Signal]:
    if not signal.bits:
        return st.just(signal)
    top = len(signal.bits) - 1
    return st.tuples(st.integers(0, top), st.integers(0, top), st.booleans()).map(
        lambda cut: _cut(signal, min(cut[:2]), max(cut[:2]), cut[2])
    )


def _cut(signal: Signal, low: int, high: int, short: bool) -> Signal:
    text = f"[{low}]" if low == high and short else f"[{high}:{low}]"
    return Signal(f"{signal.text} {text}", signal.bits[low : high + 1])


def joined(parts: list[Signal]) -> Signal:
    text = " ".join(part.text for part in parts)
    return Signal(f"{{ {text} }}", [bit for part in reversed(parts) for bit in part.bits])


SIGNALS = st.recursive(
    st.one_of(
        st.sampled_from(list(WIRES)).map(name),
        st.builds(binary, st.text("01x", min_size=1, max_size=9), st.integers(0, 4)),
        st.integers(-(2**31), 2**31 - 1).map(integer),
    ),
    lambda inner: st.one_of(inner.flatmap(slices), st.lists(inner, max_size=4).map(joined)),
    max_leaves=12,
)


@seed(40)
@given(SIGNALS)
def test_any_signal(signal: Signal) -> None:
    assert read(signal.text, len(signal.bits)) == signal.bits


@pytest.mark.parametrize(
    ("text", "bits"),
    [
        ("{ }", ""),
        ("{  }", ""),
        ("4'z", "xxxx"),
        ("4'1", "0001"),
        ("3'1z-", "1xx"),
        ("4's1010", "1010"),
        ('"!a"', "0010000101100001"),
        ('"\\101\\n"', "0100000100001010"),
        ('{ 1\'1 "\\"" }', "100100010"),
        ("{ { 2'10 } [0] { 1'1 } }", "01"),
        ("0'", ""),
        ("-1 [2:1]", "11"),
    ],
)
def test_constants(text: str, bits: str) -> None:
    assert read(text, len(bits)) == list(bits[::-1])


def test_a_wide_port_in_a_thousand_places() -> None:
    """Two thousand bits, turned round bit by bit and back: linear work, and one whole slice in the end."""
    turned = " ".join(f"\\p [{bit}]" for bit in range(2000))
    back = " ".join(f"\\q [{bit}]" for bit in range(2000))
    text = f"""module \\t
        wire width 2000 input 1 \\p
        wire width 2000 \\q
        wire width 2000 output 2 \\y
        connect \\q {{ {turned} }}
        connect \\y {{ {back} }}
    end"""
    assert str(parse(text)) == "netlist t\ninput p v0:2000\noutput y v0[0+:2000]\n"
