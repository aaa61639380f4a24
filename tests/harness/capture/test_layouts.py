"""Each layout of a recording, and each word that tables of instruments use, is known, read and damaged by a fuzzer."""

from __future__ import annotations

import pytest
from forelight.harness.capture.layout import DECIMAL, DELIMITERS, HEXADECIMAL, OF_LEVELS, RATES, UNITS
from forelight.harness.capture.readers import LAYOUTS, parse_capture

from tests.fuzz.readers import READERS

from .sessions import archive

#: Layout -> a small recording of it in which o0 falls at its second sample.
EXAMPLES = {
    "session": archive(),
    "dump": b"$timescale 1 ms $end $var wire 1 ! o0 $end $enddefinitions $end\n#0\n1!\n#1\n0!\n#2\n",
    "table": b"time_s,o0\n0,1\n0.001,0\n0.002,0\n",
}


def known_as(data: bytes) -> str:
    return next(name for name, layout in LAYOUTS.items() if layout.knows(data))


def test_every_layout_has_an_example() -> None:
    assert EXAMPLES.keys() == LAYOUTS.keys(), "write a recording of each new layout"
    assert {name: known_as(data) for name, data in EXAMPLES.items()} == {name: name for name in LAYOUTS}


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_read(name: str) -> None:
    assert "o0" in parse_capture(EXAMPLES[name], "bench").lines


def test_every_layout_is_damaged_by_the_fuzzer() -> None:
    damaged = {known_as(seed) for reader in READERS if not reader.slow for seed in reader.seeds()}
    assert damaged == LAYOUTS.keys(), "add a reader with seeds of each new layout to tests/fuzz/readers.py"


def falls(text: str) -> float:
    """When o0 falls, in seconds after the beginning."""
    capture = parse_capture(text.encode(), "bench.csv")
    assert capture.unit == "seconds"
    line = capture.lines["o0"]
    return float(line.times[line.levels.tolist().index(0)]) - capture.start


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_of_time(unit: str) -> None:
    assert falls(f"time,o0\n{unit},logic\n0,1\n1,1\n2,0\n3,0\n") == pytest.approx(2 * UNITS[unit])


@pytest.mark.parametrize("rate", RATES)
def test_every_unit_of_a_rate(rate: str) -> None:
    found = falls(f"Sample rate: 2 {rate}\nsample,o0\n0,1\n1,1\n2,0\n3,0\n")
    assert found == pytest.approx(1 / RATES[rate])


@pytest.mark.parametrize("delimiter", DELIMITERS)
def test_every_delimiter(delimiter: str) -> None:
    assert falls("time,o0\n0,1\n1,1\n2,0\n3,0\n".replace(",", delimiter)) == pytest.approx(2.0)


@pytest.mark.parametrize("word", sorted(OF_LEVELS))
def test_every_word_above_levels(word: str) -> None:
    assert falls(f"time,o0\nms,{word}\n0,1\n1,1\n2,0\n3,0\n") == pytest.approx(2e-3)


@pytest.mark.parametrize("word", sorted(HEXADECIMAL | DECIMAL))
def test_every_base_of_a_bus(word: str) -> None:
    first, then = ("3f", "3E") if word in HEXADECIMAL else ("63", "62")
    assert falls(f"time,outputs\nms,{word}\n0,{first}\n1,{first}\n2,{then}\n3,{then}\n") == pytest.approx(
        2e-3
    )
