"""Recordings as instruments and people write them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from forelight.harness.capture import tables
from forelight.harness.capture.readers import parse_capture, read_capture
from forelight.harness.capture.record import (
    CHANGES,
    SAMPLES,
    Capture,
    RecordedLine,
    quantum,
    sampled_every,
)
from forelight.harness.verdict.verdict import check
from forelight.sim.errors import CaptureError
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from tests.harness.verdict.noise import BOARD, Setup, golden_of, states


def levels(capture: Capture, line: str) -> list[tuple[float, int]]:
    found = capture.lines[line]
    return [(round(float(t), 12), int(v)) for t, v in zip(found.times, found.levels, strict=True)]


def of(text: str, **mapping: str) -> Capture:
    return parse_capture(text.encode(), "bench.csv", mapping)


AGAIN = "the file was cut short or edited: export it again"
ORDER = "give one recording, in order of time"
MEND = "export the recording again, or mend the line"
MAP = "say which is which, as in --map o0=NAME"
NAME = "name a column time_s, sample or step, or state the sample rate above the data"
BYTE = "write eight bits, 00 to ff with 0x, or 0 to 255"
COLUMNS = (
    "give the file one name for each column "
    "(if its commas are decimal signs, export it with ; between the columns)"
)
EXPORT = "export VCD, or CSV with a column for each line; above a list by eye write `outputs` or `shown`"


def understood(rows: int, time: str = "time") -> str:
    return (
        f"(understood before it: {rows} row{'s' * (rows != 1)} of 2 columns, column '{time}' counts seconds)"
    )


PLAIN = [(0.0, 0), (0.002, 1), (0.003, 0)]


@pytest.mark.parametrize(
    "text",
    [
        "time_s,o0\n0,0\n0.001,0\n0.002,1\n0.003,0\n",
        "time_s,o0\r\n0,0\r\n0.001,0\r\n0.002,1\r\n0.003,0\r\n\r\n",
        "Time;O0\n0,000;0\n0,001;0\n0,002;1\n0,003;0\n",
        "Time [ms]\to0\n0,0\t0\n1,0\t0\n2,0\t1\n3,0\t0\n",
        "time,o0\n(ms),\n0,0\n1,0\n2,1\n3,0\n",
        "time,o0\n0 us,0\n1 000 us,0\n2 ms,1\n3000000ns,0\n",
        "time,o0\n0.0e+00,0\n1.000000e-03,0\n2.000000E-03,1\n+.3e-2,0\n",
        "Recorder 4\nSample rate: 1 kHz\n\nsample,o0\n0,0\n1,0\n2,1\n3,0\n",
        "Sampling interval;1 ms\no0;o1\n0;0\n0;0\n1;0\n0;0\n",
        "\ufeff\"time_s\",\"o0\"\n\"0\",\"0\"\n\"0.001\",\"0\"\n\"0.002\",\"1\"\n\"0.003\",\"0\"\n",
        "time,o0,note\n0,0,\n0.001,0,\n0.002,1,\n0.003,0,\n",
        "# time,o0\n0,0\n0.001,0\n0.002,1\n0.003,0\n",
        "Logger\t3\nStart\t10:00\n\ntime_s\to0\n0\t0\n0.001\t0\n0.002\t1\n0.003\t0\n\n\n",
        "Time,o0\r0,0\r.001,0\r.002,1\r.003,0\r",
        "Samplerate,1000\nsample,o0\n0,0\n1,0\n2,1\n3,0\n",
        "Sample Interval (us);1000\n\nsample;o0\n0;0\n1;0\n2;1\n3;0\n",
        "time_us;o0\n0;0\n1\u00a0000;0\n2\u202f000;1\n3'000;0\n",
        "0,0\n0.001,0\n0.002,1\n0.003,0\n",
        "1,0,0,1,1,0\n0,0,0,1,1,0\ntime_s;o0\n0;0\n0,001;0\n0,002;1\n0,003;0\n",
        "1,0\n0,1\ntime_s;o0;o1;o2;o3;o4;o5\n0;0;0;0;0;0;0\n0,001;0;0;0;0;0;0\n0,002;1;0;0;0;0;0\n0,003;0;0;0;0;0;0\n",
        'time_s,o0\n"0,000",0\n"0,001",0\n"0,002",1\n"0,003",0\n',
        "time_s,o0\n\n0,0\n0.001,0\n0.002,1\n0.003,0\n",
        "time_s,o0\n0,0\n0.001,0\n\n\n0.002,1\n\n0.003,0\n",
        "Time,o0\n(us),(V)\n0,0\n1000,0\n2000,1\n3000,0\n",
        "time_s,outputs\n0,00000000\n0.001,00000000\n0.002,00000001\n0.003,00000000\n",
        "time_s,outputs\n0,0x00\n0.001,0x00\n0.002,0x01\n0.003,0x00\n",
        "time_s,outputs\n0,0\n0.001,0\n0.002,129\n0.003,128\n",
        "time_s,step,inputs,outputs,claim\n0,0,00000000,00000000,pppppppp\n0.002,1,10000000,00000001,pppppppp\n0.003,1,00000000,00000000,pppppppp\n",
    ],
)  # fmt: skip
def test_one_recording_in_many_layouts(text: str) -> None:
    capture = of(text, **({} if "o" in text else {"o0": "2"}))
    assert levels(capture, "o0") == PLAIN
    assert capture.unit == "seconds"
    held = (CHANGES, 0.0, 0.003) if "claim" in text else (SAMPLES, 0.001, 0.004)
    assert capture.holds == held[0]
    assert (capture.period, capture.end) == pytest.approx(held[1:])


def test_negative_times_gaps_and_mapped_columns() -> None:
    capture = of("t,CH1,CH3\n-0.5,1,X\n-0.25,1,0\n0.5,,1\n0.75,0,1\n", o0="CH3", i7="2")
    assert levels(capture, "o0") == [(-0.5, UNKNOWN), (-0.25, 0), (0.5, 1)]
    assert levels(capture, "i7") == [(-0.5, 1), (0.5, UNKNOWN), (0.75, 0)]
    assert capture.start == -0.5
    assert (capture.holds, capture.end) == (CHANGES, 0.75)


def test_what_an_eye_wrote_down() -> None:
    capture = of("step,outputs\n3,00000110\n4,01011011\n7,01001111\n")
    assert capture.unit == "steps"
    assert not capture.timed
    assert levels(capture, "o0") == [(3, 0), (4, 1), (5, UNKNOWN), (7, 1)]
    assert (capture.start, capture.end) == (3, 8)
    numbered = of("step,outputs,no\n3,00000110,1\n4,01011011,2\n7,01001111,3\n")  # the first that counts does
    assert (numbered.unit, levels(numbered, "o0")) == ("steps", levels(capture, "o0"))


def test_a_dump_with_a_variable_for_each_bit_and_no_time_scale() -> None:
    text = (
        "$scope module top $end $var wire 1 ! outputs [0] $end $var wire 1 ! CH3 $end $var wire 1 # inputs [7] $end"
        " $upscope $end $enddefinitions $end\n0!\nx#\n#7\n1#\n#9\n1!\n#20\n"
    )
    capture = parse_capture(text.encode(), "a.vcd")
    assert levels(capture, "o0") == [(0, 0), (9e-9, 1)]
    assert levels(capture, "i7") == [(0, UNKNOWN), (7e-9, 1)]
    assert (capture.start, capture.end) == pytest.approx((0, 20e-9))
    assert capture.notes == (
        "'top.inputs[7]' was taken as i7.",
        "'top.outputs[0]' was taken as o0.",
        "The dump has no $timescale: 1 ns was assumed.",
    )
    mapped = parse_capture(text.encode(), "a.vcd", {"o4": "CH3"})
    assert levels(mapped, "o4") == [(0, 0), (9e-9, 1)]


def test_sample_numbers_without_a_rate() -> None:
    capture = of("sample;o0\n0;0\n5;1\n9;0\n12;1\n")
    assert (capture.unit, capture.period) == ("samples", 1.0)
    assert (capture.holds, capture.end) == (CHANGES, 12.0)


def test_a_dump_with_labels_of_the_board_and_a_bus(tmp_path: Path) -> None:
    text = (
        "$timescale 1 us $end $scope module top $end $var wire 8 ! outputs [7:0] $end $var wire 1 # P12 $end"
        " $upscope $end $enddefinitions $end\n#0\nb0 !\n0#\n#10\nbx1 !\n1#\n"
    )
    path = tmp_path / "a.vcd"
    path.write_text(text)
    capture = read_capture(path, labels={"i7": "P12"})
    assert levels(capture, "o0") == [(0.0, 0), (1e-5, 1)]
    assert levels(capture, "o5") == [(0.0, 0), (1e-5, UNKNOWN)]
    assert levels(capture, "i7") == [(0.0, 0), (1e-5, 1)]
    assert capture.notes == ("'top.P12' was taken as i7.",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "time,o0\n0,0\n1\n2,0\n",
            ", line 3: 1 fields where the heading has 2 (understood before it: the heading in line 1); "
            + MEND,
        ),
        (
            "time,o0\n0,0\n1,0\n2,9\n",
            ", line 4: '9' in column 'o0' is no level "
            + understood(2)
            + "; write 0, 1 or X in the column of a line",
        ),
        (
            "time,o0\n0,0\n2,1\n1,0\n",
            ", line 4: '1' in column 'time' lies before the row above " + understood(2) + "; " + ORDER,
        ),
        (
            "time,o0\n0,0\n,1\n1,0\n",
            ", line 3: '' in column 'time' is no time " + understood(1) + "; " + MEND,
        ),
        ("time,CH1\n0,0\n1,0\n", ": no column is named after a line (found: 'CH1'); " + MAP),
        (
            "o0,o1\n0,0\n1,0\n",
            ", line 2: there is neither a column of times nor a sample rate in the heading; " + NAME,
        ),
        (
            "time,outputs\n0,0\n1,256\n",
            ", line 3: '256' in column 'outputs' is no byte " + understood(1) + "; " + BYTE,
        ),
        (
            "time,o0\n0,001,1\n0,002,1\n",
            ", line 1: the heading has 2 columns and the rows have 3; " + COLUMNS,
        ),
        (
            "time_s,o0\n0,0\n0.1,1\n\n0.2\n0.3,0\n",
            ", line 5: 1 fields where the rows before have 2 " + understood(2, "time_s") + "; " + AGAIN,
        ),
        (
            "time_s,o0\n0,0\n0.1,0\n0.2,0,1\n0.3,0\n",
            ", line 4: 3 fields where the rows before have 2 " + understood(2, "time_s") + "; " + AGAIN,
        ),
        (  # only a last line that is shorter may have been cut off
            "time_s,o0\n0,0\n0.1,0\n0.2,0,1\n",
            ", line 4: 3 fields where the rows before have 2 " + understood(2, "time_s") + "; " + AGAIN,
        ),
        ("time_s,o0,O0\n0,0,0\n1,1,1\n", ": o0 may be 'o0' and 'O0'; say which with --map o0=NAME"),
        (
            "hello\nworld\n",
            ": the file is neither a value change dump nor a session nor a table of levels; " + EXPORT,
        ),
        ("", ": the file is neither a value change dump nor a session nor a table of levels; " + EXPORT),
    ],
)
def test_damage_is_named(text: str, message: str) -> None:
    with pytest.raises(CaptureError) as caught:
        of(text)
    assert str(caught.value) == "bench.csv" + message


def test_mapping_errors() -> None:
    text = "time,CH1\n0,0\n1,0\n"
    for mapping, message in [
        (
            {"o9": "CH1"},
            "bench.csv: 'o9' is no line; map i0..i7, o0..o7, inputs, outputs, step or restart, or a series with i or o",
        ),
        ({"o0": "CH7"}, "bench.csv: no column named 'CH7' for o0 (found: 'CH1'); give the full name of one"),
        (
            {"outputs": "CH1"},
            "bench.csv: 'CH1' has 1 bits and cannot be outputs; map one bit, as in outputs=CH1[0]",
        ),
    ]:
        with pytest.raises(CaptureError) as caught:
            of(text, **mapping)
        assert str(caught.value) == message


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="cannot read the recording: no such file or directory"):
        read_capture(tmp_path / "none.vcd")


def test_the_grid_behind_rounded_times() -> None:
    samples = np.array([0, 1, 4, 5, 40, 300, 301, 5000])
    assert quantum(np.round(samples / 3, 3)) == pytest.approx(1 / 3, rel=1e-4)
    assert quantum(np.cumsum(np.random.default_rng(5).uniform(0.5, 1.5, 50))) == 0


def a_line(times: NDArray[np.float64]) -> RecordedLine:
    return RecordedLine(times, (np.arange(len(times)) & 1).astype(np.uint8))


def test_the_samples_behind_changes_are_told_from_the_steps_of_a_design() -> None:
    """A line that is drawn anew every fourth step moves again and again from one place of that grid to the next. The
    same in samples, three to a step, and with spikes of a sample, does not."""
    print("seed 6")
    rng = np.random.default_rng(6)
    moved = np.flatnonzero(np.diff(rng.integers(0, 2, 400))).astype(np.float64)
    exact, spikes = a_line(moved * 4.0), rng.choice(np.arange(1000.0), 60, replace=False)
    edges = np.r_[moved * 3.3 + rng.uniform(-1, 1, len(moved)), spikes, spikes + 1]
    strayed = np.unique(np.round(edges)).astype(np.float64)
    assert quantum(exact.times) == 4.0 and quantum(strayed) == 1.0
    assert sampled_every([exact]) == 0.0
    assert sampled_every([a_line(strayed)]) == 1.0
    assert sampled_every([a_line(moved[:6] * 4.0)]) == 4.0, "too few to tell"


@pytest.mark.parametrize(
    ("rows", "holds", "end"),
    [
        (["0,0,1", "1,0,1", "2,1,1", "3,1,0"], SAMPLES, 4.0),
        (["0,0,1", "1,1,1", "2,1,0", "3,0,0"], CHANGES, 3.0),
        (["0,0,1", "1,1,1", "2,1,0", "3,1,0"], CHANGES, 3.0),  # the last says how long was recorded
        (["0,0,1", "1,1,1", "5,1,1", "6,1,0"], CHANGES, 6.0),
        (["0,0,1", "1,0,0", "2,0,1", "3,0,0"], CHANGES, 3.0),  # o0 rests, and the column beside it moves
    ],
)
def test_what_a_table_holds(rows: list[str], holds: str, end: float) -> None:
    """Rows at regular times of which some repeat the one above are samples; each lasts until the next."""
    capture = of("\n".join(["time_s,o0,lamp", *rows]) + "\n")
    assert (capture.holds, capture.end) == (holds, end)
    whole = of("\n".join(["Sample rate: 1 Hz", "", "o0,lamp", *(row[2:] for row in rows)]) + "\n")
    assert (whole.holds, whole.end) == (SAMPLES, 4.0), "there is no time but that of the samples"


def test_other_encodings_of_the_same_table() -> None:
    text = "Time (µs),o0\n0,0\n1000,0\n2000,1\n3000,0\n"
    for encoding in ("utf-8", "utf-8-sig", "latin-1", "utf-16"):
        capture = parse_capture(text.encode(encoding), "bench.csv")
        assert levels(capture, "o0") == PLAIN


def test_pieces_make_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(77)
    print("seed 77")
    bits = rng.integers(0, 2, (500, 3))
    rows = [f"{n / 1000:.3f};{a};{b};{c}" for n, (a, b, c) in enumerate(bits.tolist())]
    text = "\n".join(["t;o0;o1;o2", *rows]) + "\n"
    whole = of(text)
    monkeypatch.setattr(tables, "PIECE", 100)
    cut = of(text)
    assert cut.start == whole.start
    assert cut.end == pytest.approx(whole.end)
    assert cut.period == pytest.approx(whole.period)
    for name in ("o0", "o1", "o2"):
        assert levels(whole, name) == levels(cut, name)
    with pytest.raises(CaptureError, match="line 502: 'z9' in column 'o2' is no level"):
        of(text + "0.500;0;1;z9\n")


def test_the_golden_of_a_run_is_a_recording_of_it() -> None:
    rng = np.random.default_rng(5)
    print("seed 5")
    golden = golden_of(Setup(states("lfsr", 300, rng), half=2, lead=3, restart=2, unsettled=0x0F))
    rows = [
        f"{tick / golden.oscillator_hz:.12f},{step},{i:08b},{o:08b},pppppppp"
        for tick, step, i, o in zip(golden.ticks, golden.steps, golden.inputs, golden.outputs, strict=True)
    ]
    capture = of("\n".join(["time_s,step,inputs,outputs,claim", *rows]) + "\n")
    assert set(capture.lines) == {f"{side}{n}" for side in "io" for n in range(8)}
    verdict = check(golden, capture, BOARD)
    assert verdict.kind == "agrees"
