"""A trace to and from CSV, with Python's csv module as judge of RFC 4180."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from forelight.sim.errors import CaptureError
from forelight.sim.traces import table
from forelight.sim.traces.trace import Trace

TRACE = Trace(
    np.array([-2, 0, 12]),
    {"o0": np.array([0, 1, 0], np.uint64), "n, m": np.array([3, 0, 2], np.uint64)},
    {"o0": 1, "n, m": 2},
    15,
    {"n, m": np.array([0, 1, 0], np.uint64)},
)
TEXT = 'time,o0,"n, m"\r\n-2,0,11\r\n0,1,0x\r\n12,0,10\r\n15,0,10\r\n'


def test_the_text_whole_and_back() -> None:
    assert table.write(TRACE) == TEXT
    back = table.read(TEXT)
    assert table.write(back) == TEXT
    assert (back.end, back.times.tolist(), dict(back.widths)) == (15, [-2, 0, 12], {"o0": 1, "n, m": 2})
    assert back.unknown["n, m"].tolist() == [0, 1, 0]


def test_many_rows_against_the_csv_module() -> None:
    rng = np.random.default_rng(20_240_001)
    print("seed 20240001")
    count = table.ROWS + 1000
    times = np.cumsum(rng.integers(1, 10**6, count))
    values = {f"o{n}": rng.integers(0, 2, count).astype(np.uint64) for n in range(3)}
    trace = Trace(times, values, dict.fromkeys(values, 1), int(times[-1])).compact()
    rows = list(csv.reader(io.StringIO(table.write(trace, time="tick"), newline="")))
    assert rows[0] == ["tick", "o0", "o1", "o2"]
    assert [int(row[0]) for row in rows[1:]] == trace.times.tolist()
    for column, name in enumerate(values, start=1):
        assert [int(row[column]) for row in rows[1:]] == trace.values[name].tolist()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("time,a\r\n", "t.csv: there are no rows under the heading; give a row for each change"),
        ("time,a\r\n0,1\r\n1\r\n", "line 3: 1 fields where 2 stand in the first row; give each row the same columns"),
        ("time,a\r\n0,1\r\n0,0\r\n", "line 3: the time 0 does not come after 0; sort the rows by time, a row a time"),
        ("time,a\r\n0.5,1\r\n", "line 2: the time '0.5' is not a whole number; give times in whole units"),
        ("time,a\r\n0,1\r\n1,2\r\n", "line 3: '2' is not 1 bits of 0, 1 and x; write all bits, the highest first"),
        ('time,a\r\n0,"1\r\n', "t.csv: the text is not CSV: unexpected end of data; mend the quotes"),
    ],
)  # fmt: skip
def test_damage_is_named(text: str, message: str) -> None:
    with pytest.raises(CaptureError) as caught:
        table.read(text, "t.csv")
    assert str(caught.value) == (message if message.startswith("t.csv") else f"t.csv, {message}")
