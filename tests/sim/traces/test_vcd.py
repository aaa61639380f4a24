"""VCD against pyvcd (0.4) and vcdvcd (2.6), and against the text of IEEE 1364-2005, clause 18."""

from __future__ import annotations

import io
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from forelight.sim.errors import CaptureError, UsageError
from forelight.sim.traces import dump, vcd
from forelight.sim.traces.trace import Trace
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from vcd.reader import ScalarChange, TokenKind, VectorChange, tokenize
from vcdvcd import VCDVCD


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    names = draw(st.lists(st.sampled_from(["o0", "o1", "o10", "bus", "wide", "i7"]), min_size=1, unique=True))
    widths = {name: draw(st.integers(1, 64)) if name in ("bus", "wide") else 1 for name in names}
    count = draw(st.integers(1, 12))
    gaps = draw(st.lists(st.integers(1, 10**6), min_size=count, max_size=count))
    times = np.cumsum(np.array(gaps, np.int64)) - draw(st.integers(0, 1)) * gaps[0]

    def columns(name: str) -> np.ndarray[tuple[int], np.dtype[np.uint64]]:
        number = st.integers(0, (1 << widths[name]) - 1)
        return np.array(draw(st.lists(number, min_size=count, max_size=count)), np.uint64)

    unknown = {name: columns(name) for name in names if draw(st.booleans())}
    values = {name: columns(name) & ~unknown.get(name, np.uint64(0)) for name in names}
    return Trace(times, values, widths, int(times[-1]) + draw(st.integers(0, 5)), unknown).compact()


def rows_of(trace: Trace, name: str) -> list[tuple[int, str]]:
    """Time and bits of a signal at its changes, the long way round."""
    out: list[tuple[int, str]] = []
    for row, time in enumerate(trace.times.tolist()):
        value, mask = (
            int(trace.values[name][row]),
            int(trace.unknown[name][row]) if name in trace.unknown else 0,
        )
        places = range(trace.widths[name] - 1, -1, -1)
        bits = "".join("x" if mask >> p & 1 else str(value >> p & 1) for p in places)
        if not out or out[-1][1] != bits:
            out.append((time, bits))
    return out


@settings(max_examples=150, deadline=None)
@given(traces())
def test_pyvcd_reads_what_was_written(trace: Trace) -> None:
    text = vcd.write(trace, comment="seed 7")
    names: dict[str, str] = {}
    seen: dict[str, list[tuple[int, str]]] = {name: [] for name in trace.values}
    now = 0
    for token in tokenize(io.BytesIO(text.encode())):
        if token.kind is TokenKind.VAR:
            names[token.var.id_code] = token.var.reference
            assert token.var.size == trace.widths[token.var.reference]
        elif token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change
        elif isinstance(token.data, ScalarChange | VectorChange):
            name = names[token.data.id_code]
            value = token.data.value
            seen[name].append((now, f"{value:0{trace.widths[name]}b}" if isinstance(value, int) else value))
    for name, rows in seen.items():
        assert [
            (t, bits.rjust(trace.widths[name], "0" if bits[0] == "1" else bits[0])) for t, bits in rows
        ] == (rows_of(trace, name))
    assert now == trace.end


@settings(max_examples=50, deadline=None)
@given(traces())
def test_vcdvcd_reads_what_was_written(trace: Trace) -> None:
    read = VCDVCD(vcd_string=vcd.write(trace))
    for name, width in trace.widths.items():
        full = f"forelight.{name}" + (f"[{width - 1}:0]" if width > 1 else "")
        assert read[full].tv == rows_of(trace, name)


@settings(max_examples=150, deadline=None)
@given(traces())
def test_round_trip(trace: Trace) -> None:
    text = vcd.write(trace)
    back = vcd.read(text)
    assert back.times.tolist() == trace.times.tolist()
    assert back.widths == trace.widths
    assert back.end == trace.end
    for name in trace.values:
        assert rows_of(back, name) == rows_of(trace, name)
    assert vcd.write(back) == text


def test_the_text_whole() -> None:
    trace = Trace(
        np.array([0, 3, 7]),
        {
            "o1": np.array([0, 1, 1], np.uint64),
            "o0": np.array([0, 0, 1], np.uint64),
            "n": np.array([2, 2, 5], np.uint64),
        },
        {"o1": 1, "o0": 1, "n": 3},
        9,
        {"o1": np.array([1, 0, 0], np.uint64)},
    )
    assert vcd.write(trace, timescale="10 us", comment="board quay\nseed 1", scope="golden") == (
        "$comment board quay $end\n$comment seed 1 $end\n$version Forelight $end\n$timescale 10 us $end\n"
        '$scope module golden $end\n$var wire 3 ! n [2:0] $end\n$var wire 1 " o0 $end\n$var wire 1 # o1 $end\n'
        "$upscope $end\n$enddefinitions $end\n"
        '#0\n$dumpvars\nb010 !\n0"\nx#\n$end\n#3\n1#\n#7\nb101 !\n1"\n#9\n'
    )


def test_ticks_are_scaled_exactly() -> None:
    # 18.432 MHz: a tick is 54253.47... ps; the millionth is rounded from the exact product, not summed up.
    scale = Fraction(10**12, 18_432_000)
    ticks = np.array([0, 1, 10**6, 10**12], np.int64)
    assert vcd.rescale(ticks, scale).tolist() == [round(int(t) * scale) for t in ticks]
    assert vcd.rescale(np.array([1, 3, 5, -1]), Fraction(1, 2)).tolist() == [1, 2, 3, 0]


def test_a_time_scale_that_is_too_coarse_or_unknown_is_refused() -> None:
    trace = Trace(np.array([0, 1]), {"a": np.array([0, 1], np.uint64)}, {"a": 1}, 2)
    with pytest.raises(UsageError, match="puts two rows on one instant; use a finer one"):
        vcd.write(trace, timescale="1 us", scale=Fraction(1, 10))
    with pytest.raises(UsageError, match="'5 ns' is no time scale of IEEE 1364"):
        vcd.write(trace, timescale="5 ns")


HEAD = "$timescale 1 ns $end\n$scope module top $end\n$var wire 1 ! a $end\n$var reg 4 b q [3:0] $end\n" \
    "$var wire 1 $x c $end\n$upscope $end\n$enddefinitions $end\n"  # fmt: skip


def seen(body: str, name: str, head: str = HEAD) -> list[tuple[int, str]]:
    return rows_of(vcd.read(head + body), name)


@pytest.mark.parametrize(
    ("body", "name", "rows"),
    [
        # Clause 18: a vector shorter than its width is extended by x, z or 0, never by 1.
        ("#0\nb1 b\n#1\nbx1 b\n#2\nbz0 b\n#3\nb01 b\n", "q", [(0, "0001"), (1, "xxx1"), (2, "xxx0"), (3, "0001")]),
        ("0!\n#5\n1!\n", "a", [(0, "0"), (5, "1")]),  # a change before the first time stamp is of time 0
        ("#5\n0!\n1!\n0!\n#6\n1!\n", "a", [(5, "0"), (6, "1")]),
        ("#7\n$dumpvars\n0!\n$end\n#9\n1!\n#12\n", "a", [(7, "0"), (9, "1")]),
        ("#0\n0!\n$comment 1! #8 b $end\n#9\n1!\n", "a", [(0, "0"), (9, "1")]),
        ("#0\r\n0!\r\n#9\r\n1!\r\n", "a", [(0, "0"), (9, "1")]),
        ("#0 0! #9 1! b10 b s#11 ! r1.5 !\n", "a", [(0, "0"), (9, "1")]),
        ("#0\nb1 !\n#4\nb0 !\n#5\nbz !\n", "a", [(0, "1"), (4, "0"), (5, "x")]),
        ("#0\n1$x\n#1\nb0 $x\n#2\nb1 b\nb1 $x\n", "c", [(0, "1"), (1, "0"), (2, "1")]),
        ("#0\nb1 b\nb11 b\n#1\nB0 b\n", "q", [(0, "0011"), (1, "0000")]),
        ("#-20\n0!\n#-10\n1!\n#5\n0!\n", "a", [(-20, "0"), (-10, "1"), (5, "0")]),
        ("#0\n0!\n#4\n$dumpoff\nx!\nbx b\n$end\n#6\n$dumpon\n1!\nb0 b\n$end\n", "a", [(0, "0"), (4, "x"), (6, "1")]),
    ],
)  # fmt: skip
def test_forms_of_the_body(body: str, name: str, rows: list[tuple[int, str]]) -> None:
    assert seen(body, name) == rows


def test_two_variables_on_one_identifier_and_equal_leaves() -> None:
    head = (
        "$scope module a $end $var wire 1 ! x $end $upscope $end\n"
        '$scope module b $end $var wire 1 ! x $end $var wire 1 " y $end $upscope $end\n$enddefinitions $end\n'
    )
    trace = vcd.read(head + "#0\n0!\n#3\n1!\n")
    assert sorted(trace.values) == ["a.x", "b.x", "y"]
    assert rows_of(trace, "a.x") == rows_of(trace, "b.x") == [(0, "0"), (3, "1")]
    assert rows_of(trace, "y") == [(0, "x")]


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("1 ns", Fraction(1, 10**9)),
        ("10us", Fraction(1, 10**5)),
        ("0.5 ns", Fraction(1, 2 * 10**9)),
        ("\n 100\n ps\n", Fraction(1, 10**10)),
        ("40 s", Fraction(40)),
    ],
)
def test_time_scales(text: str, unit: Fraction) -> None:
    assert dump.scan(f"$timescale {text} $end $enddefinitions $end\n".encode()).unit == unit


def test_time_stamps_with_decimals_are_whole_in_a_part_of_the_unit() -> None:
    for piece in ("#0\n0!\n#1.25\n1!\n#3.5\n0!\n#12\n", "#0.0\n0!\n#1.250\n1!\n#3.5\n0!\n#0012.\n"):
        found = dump.scan((HEAD + piece).encode())
        assert (found.unit, found.part, found.last) == (Fraction(1, 10**9), Fraction(1, 100), 1200)
        times, levels = found.levels(found.variables[0])
        assert (times.tolist(), levels.tolist()) == ([0, 125, 350], [0, 1, 0])
    whole = dump.scan((HEAD + "#3.00\n0!\n").encode())
    assert (whole.part, whole.first) == (Fraction(1), 3), "nothing but zeros behind the point"


def test_wide_variables_bit_by_bit() -> None:
    head = "$var wire 70 ! w [69:0] $end $enddefinitions $end\n"
    found = dump.scan(f"{head}#1\nb1{'0' * 68}1 !\n#2\nbx1 !\n#3\nb1 !\n#4\n0!\n".encode())

    def bits(place: int) -> list[int]:
        return list(map(int, found.levels(found.variables[0], place)[1]))

    assert (bits(0), bits(1), bits(69)) == ([1, 1, 1, 0], [0, 2, 0, 0], [1, 2, 0, 0])
    with pytest.raises(CaptureError, match="line 3: the vector 'b0k1' is not binary"):
        wrong = dump.scan(f"{head}#1\nb0k1 !\n".encode())
        wrong.levels(wrong.variables[0], 1)


def test_no_time_scale_is_said() -> None:
    assert dump.scan(b"$enddefinitions $end\n").unit is None


MANY = "".join(f"#{n}\n{n & 1}!\n" for n in range(3000))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEAD + "#0\n0!\n#1\n1?\n", "line 11: the change '1?' is of no declared variable"),
        (HEAD + "#0\n0!\n#1x\n1!\n", "line 10: the time stamp '#1x' is not a number"),
        (HEAD + "#5\n0!\n#4\n1!\n", "line 10: time goes back from 5 to 4 (two recordings joined?)"),
        (HEAD + "#5\n0!\n#6\n1", "line 11: the file ends in the middle of a line (cut short?)"),
        (HEAD + "#5\nb0101\n", "line 9: the change 'b0101' has no identifier (cut short?)"),
        (HEAD + "#5\nb01k1 b\n", "line 9: the vector 'b01k1' is not binary"),
        (HEAD + "#5\nquiet\n", "line 9: 'quiet' is neither a time stamp nor a change"),
        (HEAD + "#5\n$dumpvars\n0!\n", "line 9: the section that begins here has no $end (cut short?)"),
        (HEAD[:60], "line 3: the file ends before $enddefinitions (cut short?)"),
        ("", "line 1: the file ends before $enddefinitions (cut short?)"),
        ("time,o0\n0,1\n", "line 1: 'time,o0' stands where a value change dump has a $ section"),
        ("\n$var wire ! $end\n", "line 2: the declaration '$var wire !' cannot be read"),
        (f"$var wire {10**20} ! a $end\n", f"line 1: the declaration '$var wire {10**20} ! a' cannot be read"),
        ("$var wire -1 ! a $end\n", "line 1: the declaration '$var wire -1 ! a' cannot be read"),
        (f"$timescale 1{'0' * 400} s $end\n", f"line 1: the declaration '$timescale 1{'0' * 68}' cannot be read"),
        (HEAD + f"#{2**62}\n", f"line 8: the time stamp '#{2**62}' is too large"),
        ("$timescale 1 hour $end\n", "line 1: the declaration '$timescale 1 hour' cannot be read"),
    ],
)  # fmt: skip
def test_damage_is_named_with_its_line(text: str, message: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for piece in (1 << 22, 8):
        monkeypatch.setattr(dump, "PIECE", piece)
        with pytest.raises(CaptureError) as caught:
            vcd.read(text, "bench.vcd")
        assert str(caught.value) == (
            f"bench.vcd, {message}; export the recording again as VCD (IEEE 1364), whole"
        )


def test_pieces_make_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    body = HEAD + "$comment a\n#5\nb $end\n" + MANY + "$comment\n#99 $end\n#4000\n$dumpall\n#4001\n0!\n$end\n"
    whole = rows_of(vcd.read(body), "a")
    monkeypatch.setattr(dump, "PIECE", 7)
    assert rows_of(vcd.read(body), "a") == whole
    assert len(whole) == 3001


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_no_cut_passes_in_silence_but_at_a_line_end(data: st.DataObject) -> None:
    text = HEAD + "#0\n$dumpvars\n0!\nb0 b\n$end\n#10\n1!\nb1010 b\n#20\n0!\n"
    cut = data.draw(st.integers(0, len(text) - 1))
    in_section = text.index("$dumpvars") < cut < text.index("#10")
    assume(cut < len(HEAD) or in_section or text[cut - 1] != "\n")
    with pytest.raises(CaptureError):
        vcd.read(text[:cut])


def test_identifiers_of_any_length() -> None:
    names = ["".join(chr(33 + (n >> 3 * k) % 94) for k in range(1 + n % 11)) for n in range(1, 300)]
    names = list(dict.fromkeys(names))
    head = (
        "".join(f"$var wire 1 {name} v{n} $end\n" for n, name in enumerate(names))
        + "$enddefinitions $end\n#0\n"
    )
    body = "".join(f"{n & 1}{name}\n" for n, name in enumerate(names))
    trace = vcd.read(head + body)
    assert [int(trace.values[f"v{n}"][0]) for n in range(len(names))] == [n & 1 for n in range(len(names))]


def test_the_file_is_the_same_bytes_again(tmp_path: Path) -> None:
    trace = Trace(np.array([0]), {"a": np.array([1], np.uint64)}, {"a": 1}, 0)
    assert vcd.write(trace) == vcd.write(trace)
    assert vcd.write(trace).endswith("#0\n$dumpvars\n1!\n$end\n")
