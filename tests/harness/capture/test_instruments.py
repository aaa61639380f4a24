"""Recordings as instruments write them: units, hexadecimal buses, numbered series, time stamps, cut lines, pipes.

sigrok's own command (Debian: sigrok-cli) writes session files, tables and dumps of its demonstration device, and
converts a dump of ours.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from forelight.harness.capture.readers import parse_capture, read_capture
from forelight.harness.capture.record import Capture, Floats
from forelight.sim.errors import CaptureError
from forelight.sim.levels import UNKNOWN
from forelight.sim.traces import vcd
from forelight.sim.traces.trace import Trace

needs_sigrok = pytest.mark.skipif(
    shutil.which("sigrok-cli") is None, reason="sigrok-cli (Debian) is not installed"
)


def of(text: str | bytes, mapping: Mapping[str, str] | None = None) -> Capture:
    return parse_capture(text.encode() if isinstance(text, str) else text, "bench.csv", mapping or {})


def levels(capture: Capture, line: str) -> list[tuple[float, int]]:
    found = capture.lines[line]
    return [(round(float(t), 9), int(v)) for t, v in zip(found.times, found.levels, strict=True)]


def shown(capture: Capture, times: Floats) -> list[int]:
    """The eight outputs as a number at these times."""
    bits = [capture.lines[f"o{bit}"].at(times) for bit in range(8)]
    return [sum(int(column[row]) << bit for bit, column in enumerate(bits)) for row in range(len(times))]


STEP = [(0.0, 0), (0.001, 1), (0.002, 0)]


@pytest.mark.parametrize(
    "text",
    [
        "time,o0\nms,logic\n0,0\n1,1\n2,0\n",
        "time,o0\n(s),(V)\n0,0\n0.001,1\n0.002,0\n",
        "time|o0\n0|0\n0.001|1\n0.002|0\n",
        "Time,o0\n2026-03-01T23:59:59.999Z,0\n2026-03-02T00:00:00.000Z,1\n2026-03-02T00:00:00.001Z,0\n",
        "Time;o0\n2026-02-28 23:59:59,999;0\n2026-03-01 00:00:00,000;1\n2026-03-01 00:00:00,001;0\n",
        "timestamp,o0\n2026-03-01T09:59:59.999+01:00,0\n2026-03-01T10:00:00.000+01:00,1\n"
        "2026-03-01T10:00:00.001+01:00,0\n",
        "time,o0\n23:59:59.999,0\n00:00:00.000,1\n00:00:00.001,0\n",
        "Date,Time,o0\n2026-03-01,9:59:59.999,0\n2026-03-01,10:00:00,1\n2026-03-01,10:00:00.001,0\n",
    ],
)
def test_clocks_units_and_delimiters(text: str) -> None:
    capture = of(text)
    start = capture.start
    assert [(round(time - start, 9), level) for time, level in levels(capture, "o0")] == STEP
    assert capture.unit == "seconds"


def test_time_stamps_that_are_none_are_named() -> None:
    with pytest.raises(
        CaptureError, match=r"line 3: '25:00:00' in column 'time' is no time \(understood before"
    ):
        of("time,o0\n12:00:00,0\n25:00:00,1\n12:00:02,0\n")
    with pytest.raises(CaptureError, match="'2026-02-3010:00:01' in column 'time' is no time"):
        of("time,o0\n2026-02-28 10:00:00,0\n2026-02-30 10:00:01,1\n")


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (("0x06", "0x5b", "0x4F"), ""),
        (("06", "5b", "4F"), "hexadecimal"),
        (("06", "91", "79"), "hexadecimal"),
        (("6", "91", "79"), "decimal"),
        (("6", "91", "179"), "decimal"),
        (("06h", "5Bh", "4fh"), ""),
        (("00000110", "01011011", "01001111"), ""),
        (("6", "5B", "F"), "hexadecimal"),
    ],
)
def test_buses(cells: tuple[str, ...], said: str) -> None:
    base = 2 if len(cells[0]) == 8 else 16 if said != "decimal" else 10
    wanted = [int(cell.rstrip("h"), base) for cell in cells]
    rows = "".join(f"{n},{cell}\n" for n, cell in enumerate(cells))
    for text, mapping in (
        (f"time,outputs\n{rows}", {}),
        (f"time,BUS[7:0]\n{rows}", {"outputs": "BUS"}),
        (rows.replace("0,", "0.0,", 1), {"outputs": "2"}),
    ):
        capture = of(text, mapping)
        assert shown(capture, np.arange(3.0)) == wanted
        notes = " ".join(capture.notes)
        assert f"were taken as {said}" in notes if said else "were taken" not in notes
    one = of(f"time,BUS[7:0]\n{rows}", {"o2": "BUS[0]"})
    assert levels(one, "o2")[0][1] == wanted[0] & 1


def test_a_row_of_units_tells_the_base() -> None:
    rows = "0,10\n1,11\n2,12\n"
    assert shown(of(f"time,outputs\ns,hex\n{rows}"), np.arange(3.0)) == [0x10, 0x11, 0x12]
    assert shown(of(f"time,outputs\ns,dec\n{rows}"), np.arange(3.0)) == [10, 11, 12]
    assert shown(of(f"time,outputs (hex)\n{rows}", {"outputs": "2"}), np.arange(3.0)) == [0x10, 0x11, 0x12]


BITS = "".join(f"{n},{','.join(str(n >> bit & 1) for bit in range(8))}\n" for n in range(256))


def test_a_numbered_series_is_mapped_at_once() -> None:
    times = np.arange(256.0)
    for stem, first in (("CH", 0), ("CH", 1), ("Channel ", 0), ("D", 0)):
        heading = "time," + ",".join(f"{stem}{first + bit}" for bit in range(8))
        for name in (stem.strip(), f"{stem}{first}..{first + 7}", f"{stem}{first}..{stem}{first + 7}"):
            assert shown(of(f"{heading}\n{BITS}", {"o": name}), times) == list(range(256)), (heading, name)
        turned = of(f"{heading}\n{BITS}", {"o": f"{stem}{first + 7}..{stem}{first}"})
        assert shown(turned, times) == [int(f"{n:08b}"[::-1], 2) for n in range(256)]
    backwards = "time," + ",".join(f"CH{7 - bit}" for bit in range(8))
    assert shown(of(f"{backwards}\n{BITS}", {"o": "CH"}), times) == [
        int(f"{n:08b}"[::-1], 2) for n in range(256)
    ]
    part = of(f"time,D8,D9,D10,o3\n{'0,1,0,1,0' + chr(10)}1,0,1,1,1\n", {"i": "D8..D10", "i1": "o3"})
    assert levels(part, "i0") == [(0, 1), (1, 0)] and levels(part, "i1") == [(0, 0), (1, 1)]


def test_a_series_that_is_none_is_refused() -> None:
    heading = "time," + ",".join(f"D{bit}" for bit in range(16))
    text = f"{heading}\n" + "".join(f"{n}{',0' * 16}\n" for n in range(3))
    for name in ("D", "Q", "D12..D19", "D0..D9"):
        with pytest.raises(CaptureError, match=r"of up to eight columns for o0 and on .*as in o=CH0\.\.CH7"):
            of(text, {"o": name})


def test_a_last_line_that_was_cut_short_is_left_out() -> None:
    whole = "time,o0,outputs\n0,0,00000000\n1,1,00000001\n"
    for tail in ("2", "2,", "2,0", "2,0,", "2,0,0101", "2,0\n"):
        if tail == "2,0,":  # nothing tells that a last cell was meant
            continue
        capture = of(whole.replace(",o0", ",o1") + tail)
        assert levels(capture, "o1") == [(0, 0), (1, 0)][:1] or levels(capture, "o1") == [(0, 0), (1, 1)]
        assert capture.end <= 2 and "cut short" in capture.notes[0], tail
    assert "cut" not in "".join(of(whole).notes)
    dump = "$timescale 1 ms $end $var wire 1 ! o0 $end $enddefinitions $end\n#0\n0!\n#5\n1!\n#9"
    capture = of(dump)
    assert (levels(capture, "o0"), capture.end) == ([(0, 0), (0.005, 1)], 0.005)
    assert capture.notes == ("The last line was cut short: the recording was used up to it.",)


def test_what_cannot_be_read_is_named_by_row_and_cell() -> None:
    for text, message in (
        ("time,o0\n0,0\nlate,1\n2,0\n3,1\n", "line 3: 'late' in column 'time' is no time, level or byte "
         "(understood before it: the heading in line 1)"),
        ("a,b\n1,up\n2,no\n", "line 2: 'up' in column 2 is no time, level or byte (nothing was understood before it)"),
    ):  # fmt: skip
        with pytest.raises(CaptureError) as caught:
            of(text)
        assert str(caught.value).startswith(f"bench.csv, {message}; ")


def test_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    class Stream:
        buffer = io.BytesIO(b"time,o0\n0,0\n1,1\n")

    monkeypatch.setattr(sys, "stdin", Stream)
    capture = read_capture("-")
    assert (levels(capture, "o0"), capture.source) == ([(0, 0), (1, 1)], "standard input")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no /dev/zero")
def test_a_device_is_no_recording() -> None:
    with pytest.raises(CaptureError) as caught:
        read_capture("/dev/zero")
    assert str(caught.value) == "/dev/zero: this is a device; name a file"


def sigrok(*arguments: str) -> bytes:
    return subprocess.run(["sigrok-cli", *arguments], check=True, stdout=subprocess.PIPE, timeout=60).stdout


@needs_sigrok
@pytest.mark.parametrize("rate", ["1k", "20k", "5m", "50m"])
def test_sessions_tables_and_dumps_of_sigrok(rate: str, tmp_path: Path) -> None:
    session, count = tmp_path / "demo.sr", 400 if rate == "1k" else 3000  # the device takes its time
    demo = "demo:logic_channels=16:analog_channels=0"
    chosen = ",".join(f"D{bit}" for bit in (0, 1, 2, 3, 8, 9, 10, 15))
    sigrok(
        "-d",
        demo,
        "-c",
        f"samplerate={rate}",
        "--samples",
        str(count),
        "-o",
        str(session),
    )
    mapping = {f"o{bit}": name for bit, name in enumerate(chosen.split(","))}
    capture, whole = read_capture(session, mapping), read_capture(session, {"o": "D0..D7"})
    hertz = float(rate.translate({ord("k"): "e3", ord("m"): "e6"}))
    assert capture.unit == "seconds" and capture.period == pytest.approx(1 / hertz)
    assert capture.end == pytest.approx(count / hertz)
    middles: Floats = np.asarray((np.arange(count) + 0.5) / hertz)
    wanted = shown(capture, middles)
    assert len(set(wanted)) > 5
    # The same by sigrok's own tables: with names or with units alone, with and without times, all rows or changes.
    for options in (
        "label=channel",
        "label=units",
        "time=true",
        "time=true:label=channel",
        "time=true:dedup=true",
    ):
        table = sigrok("-i", str(session), "-C", chosen, "-O", f"csv:{options}")
        found = of(table, mapping)
        shift = 1 / hertz if "time" in options and hertz > 1 else 0.0  # its first sample is at one period
        rows = slice(0, count - 10)
        assert shown(found, middles[rows] + shift) == wanted[rows], options
    # Its dumps have the first channels in the place of chosen ones: compare where both are the same.
    first = ",".join(f"D{bit}" for bit in range(8))
    dump = parse_capture(sigrok("-i", str(session), "-C", first, "-O", "vcd"), "a.vcd", {"o": "D0..D7"})
    assert shown(dump, middles[: count - 10]) == shown(whole, middles[: count - 10])


@needs_sigrok
def test_a_dump_of_ours_by_sigroks_converter(tmp_path: Path) -> None:
    rng = np.random.default_rng(12)
    print("seed 12")
    times = np.cumsum(rng.integers(1, 50, 400)) - 1
    names = [f"o{bit}" for bit in range(8)]
    values = {name: rng.integers(0, 2, len(times)).astype(np.uint64) for name in names}
    trace = Trace(times, values, dict.fromkeys(names, 1), int(times[-1]) + 10)
    (tmp_path / "ours.vcd").write_text(vcd.write(trace, timescale="1 us"))
    sigrok("-I", "vcd", "-i", str(tmp_path / "ours.vcd"), "-o", str(tmp_path / "ours.sr"))
    capture, ours = read_capture(tmp_path / "ours.sr"), read_capture(tmp_path / "ours.vcd")
    middles = (np.arange(times[0], times[-1]) + 0.5) * 1e-6
    assert shown(capture, middles - times[0] * 1e-6) == shown(ours, middles)


def archive(**files: bytes) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in files.items():
            made.writestr(name.replace("_", "-"), content)
    return data.getvalue()


META = b"[global]\nsigrok version=0.5.2\n[device 1]\ncapturefile=logic-1\nprobe1=o0\nprobe2=o1\nunitsize=1\n"


def test_sessions_written_by_hand() -> None:
    capture = of(archive(version=b"2", metadata=META, logic_1=b"\0\1\3\2"))
    assert (levels(capture, "o0"), levels(capture, "o1")) == ([(0, 0), (1, 1), (3, 0)], [(0, 0), (2, 1)])
    assert (capture.unit, capture.end) == ("samples", 4)
    many = {f"logic_1_{part}": bytes([part & 1]) for part in range(1, 12)}
    rated = of(archive(metadata=META + b"samplerate=2 kHz\n", **many))
    assert levels(rated, "o0") == [(part / 2000, (part + 1) & 1) for part in range(11)], (
        "pieces in order of number"
    )


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"PK\3\4 and then nothing", "the session file is damaged: File is not a zip file"),
        (archive(logic_1=b"\0"), "the session file is damaged: .*metadata"),
        (archive(metadata=b"[device 1]\nprobe1=o0\n"), "the session file holds no logic samples"),
        (archive(metadata=META), "the session file holds no samples"),
        (
            archive(metadata=META.replace(b"unitsize=1", b"unitsize=900")),
            "the session file is damaged: unitsize=900",
        ),
        (archive(metadata=b"no section"), "the session file is damaged: File contains no section headers"),
    ],
)
def test_damaged_sessions(data: bytes, message: str) -> None:
    with pytest.raises(CaptureError, match=message):
        of(data)


def test_an_unknown_level_stays_unknown_in_a_bus() -> None:
    capture = of("time,outputs\n0,X\n1,0x01\n2,\n")
    assert levels(capture, "o0") == [(0, UNKNOWN), (1, 1), (2, UNKNOWN)]
