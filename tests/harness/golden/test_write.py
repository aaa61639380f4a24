"""Goldens on paper: exact bytes, other readers as judges, and back again."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from math import floor
from pathlib import Path

import numpy as np
import pytest
from forelight.harness.golden.golden import Golden, Race
from forelight.harness.golden.read import read_golden
from forelight.harness.golden.write import MOST_RACES, side, to_csv, to_vcd, write_golden
from forelight.sim.errors import CaptureError, UsageError
from vcd.reader import TokenKind, tokenize
from vcdvcd import VCDVCD

SMALL = Golden(
    board="quay",
    oscillator_hz=18_432_000,
    ticks=np.array([0, 6143, 12287, 61_440_000_000]),
    steps=np.array([0, 0, 1, 5000]),
    inputs=np.array([0, 0x40, 0xC0, 0x41], np.uint8),
    outputs=np.array([0, 0b1000_0001, 0b1000_0010, 0xFF], np.uint8),
    proved=np.array([0, 0x80, 0x80, 0x80], np.uint8),
    sampled=np.array([0, 0x0F, 0x7F, 0x7F], np.uint8),
    end=61_440_006_144,
    facts={"design": "own", "start": "fixed", "seed": 0, "step_line": "i7", "note": 'a "word" and \\ more'},
)
TEXT = b"""\
time_s,step,inputs,outputs,claim
0.000000000,0,00000000,xxxxxxxx,xxxxxxxx
0.000333279,0,01000000,1xxx0001,pxxxssss
0.000666612,1,11000000,10000010,psssssss
3333.333333333,5000,01000001,11111111,psssssss
"""
SIDE = r"""board = "quay"
oscillator_hz = 18432000
end_ticks = 61440006144
design = "own"
start = "fixed"
seed = 0
step_line = "i7"
note = "a \"word\" and \\ more"
"""
COLUMNS = ("ticks", "steps", "inputs", "outputs", "proved", "sampled")


def random_golden(seed: int, rows: int, hz: int) -> Golden:
    """Any rows that a golden may have; the first in tick 0, steps as the VCD reader counts them on i7."""
    rng = np.random.default_rng(seed)
    gaps = np.maximum(1, (rng.random(rows) ** 8 * 3 * hz).astype(np.int64))
    ticks = np.concatenate(([0], np.cumsum(gaps[1:])))
    inputs = rng.integers(0, 256, rows, np.uint8)
    settled = rng.integers(0, 256, rows, np.uint8) | np.uint8(0x80)
    inputs[1:][inputs[1:] == inputs[:-1]] ^= 1  # each row changes something
    return Golden(
        board="quay",
        oscillator_hz=hz,
        ticks=ticks,
        steps=np.cumsum(np.diff((inputs >> 7).astype(np.int8), prepend=0) == 1),
        inputs=inputs,
        outputs=rng.integers(0, 256, rows, np.uint8) & settled,
        proved=np.full(rows, 0x80, np.uint8),
        sampled=settled & np.uint8(0x7F),
        end=int(ticks[-1]) + 5,
        facts={"step_line": "i7", "seed": seed},
    )


def assert_same(one: Golden, other: Golden) -> None:
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)
        assert getattr(one, name).dtype == getattr(other, name).dtype
    assert (one.board, one.oscillator_hz, one.end) == (other.board, other.oscillator_hz, other.end)
    assert one.facts == other.facts


def test_exact_bytes() -> None:
    assert to_csv(SMALL) == TEXT.replace(b"\n", b"\r\n")
    assert side(SMALL) == SIDE
    assert tomllib.loads(SIDE)["note"] == SMALL.facts["note"]


def test_the_csv_is_what_a_csv_reader_reads() -> None:
    golden = random_golden(11, 3000, 18_432_000)
    rows = list(csv.DictReader(io.StringIO(to_csv(golden).decode(), newline="")))
    assert len(rows) == 3000
    for row, tick, step, inputs in zip(rows, golden.ticks, golden.steps, golden.inputs, strict=True):
        assert round(Fraction(row["time_s"]) * 18_432_000) == tick
        assert abs(Fraction(row["time_s"]) - Fraction(int(tick), 18_432_000)) <= Fraction(1, 2 * 10**9)
        assert (int(row["step"]), int(row["inputs"], 2)) == (step, inputs)
        assert [c == "x" for c in row["outputs"]] == [c == "x" for c in row["claim"]]


def test_the_vcd_is_what_other_readers_read(tmp_path: Path) -> None:
    """pyvcd's tokens and vcdvcd's transitions, against the golden's own rows."""
    golden = random_golden(12, 2000, 18_432_000)
    write_golden(golden, tmp_path / "golden.vcd")
    text = (tmp_path / "golden.vcd").read_bytes()
    tokens = list(tokenize(io.BytesIO(text)))
    variables = [token.var for token in tokens if token.kind is TokenKind.VAR]
    assert [(var.reference, var.size) for var in variables] == [
        (f"{k}{n}", 1) for k in "io" for n in range(8)
    ]
    assert not [token for token in tokens if token.kind is TokenKind.DATE]
    times = np.array([token.time_change for token in tokens if token.kind is TokenKind.CHANGE_TIME])
    half = Fraction(1, 2)  # a half goes up
    in_ns = [
        floor(Fraction(int(tick) * 10**9, golden.oscillator_hz) + half)
        for tick in (*golden.ticks, golden.end)
    ]
    assert times.tolist() == in_ns
    other = VCDVCD(str(tmp_path / "golden.vcd"))
    unsettled = ~golden.settled
    for var in variables:
        bit = int(var.reference[1])
        column = golden.inputs if var.reference[0] == "i" else golden.outputs
        unknown = np.zeros_like(column) if var.reference[0] == "i" else unsettled
        values = np.where(unknown >> bit & 1, "x", np.where(column >> bit & 1, "1", "0"))
        kept = np.concatenate(([True], values[1:] != values[:-1]))
        expected = list(zip(np.array(in_ns[:-1])[kept].tolist(), values[kept].tolist(), strict=True))
        assert other[f"forelight.{var.reference}"].tv == expected


@pytest.mark.parametrize("hz", [1000, 18_432_000, 50_000_000, 499_999_993, 10**10])
@pytest.mark.parametrize("ending", ["csv", "vcd"])
def test_there_and_back(tmp_path: Path, ending: str, hz: int) -> None:
    for seed in range(4):
        golden = random_golden(seed, 70_000 if seed == 0 else 500, hz)
        path = tmp_path / f"golden.{ending}"
        write_golden(golden, path)
        assert_same(read_golden(path), golden)
    names = {"csv": ["golden.csv", "golden.toml"], "vcd": ["golden.vcd"]}[ending]
    assert sorted(item.name for item in tmp_path.iterdir()) == names


def test_the_same_golden_gives_the_same_bytes() -> None:
    one, two = random_golden(3, 900, 18_432_000), random_golden(3, 900, 18_432_000)
    assert (to_csv(one), to_vcd(one), side(one)) == (to_csv(two), to_vcd(two), side(two))


def test_a_csv_with_plain_line_ends_is_read_too(tmp_path: Path) -> None:
    write_golden(SMALL, tmp_path / "g.csv")
    (tmp_path / "g.csv").write_bytes(TEXT)
    assert_same(read_golden(tmp_path / "g.csv"), SMALL)


@pytest.mark.parametrize("ending", ["", ".CSV", ".txt", ".vcdx", ".zip"])
def test_another_ending_is_refused(ending: str, tmp_path: Path) -> None:
    path = tmp_path / f"g{ending}"
    said = f"{path}: the ending '{ending}' is not that of a golden; allowed: .csv, .vcd"
    with pytest.raises(UsageError) as caught:
        write_golden(SMALL, path)
    assert str(caught.value) == said
    with pytest.raises(CaptureError) as unread:
        read_golden(path)
    assert str(unread.value) == said
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("change", "line", "what"),
    [
        (lambda t: t[:-9], "", "the last line is cut off"),
        (lambda t: t[:0], ", line 1", "the columns are not time_s,step,inputs,outputs,claim"),
        (
            lambda t: t.replace(b"step", b"steps", 1),
            ", line 1",
            "the columns are not time_s,step,inputs,outputs,claim",
        ),
        (
            lambda t: t.replace(b"01000000,1", b"01020000,1"),
            ", line 3",
            "a letter that is none of 01 in '0.000333279,0,01020000,1xxx0001,pxxxssss'",
        ),
        (
            lambda t: t.replace(b"1xxx0001,", b"1x1x0001,"),
            ", line 3",
            "outputs and claim disagree in '0.000333279,0,01000000,1x1x0001,pxxxssss'",
        ),
        (
            lambda t: t.replace(b"pxxxssss", b"qxxxssss"),
            ", line 3",
            "a letter that is none of psx in '0.000333279,0,01000000,1xxx0001,qxxxssss'",
        ),
        (
            lambda t: t.replace(b"0.000666612", b"0.000333279"),
            ", line 4",
            "a time that does not come after the one before",
        ),
        (
            lambda t: t.replace(b"0.000666612", b"0.00o666612"),
            ", line 4",
            "a time or a step that is no number in '0.00o666612,1,11000000,10000010,psssssss'",
        ),
        (
            lambda t: t.replace(b"0.000666612,1", b"0.000666612"),
            ", line 4",
            "not five fields in '0.000666612,11000000,10000010,psssssss'",
        ),
        (
            lambda t: t.replace(b"01000001,11111111,psssssss", b"1"),
            ", line 5",
            "too few characters in '3333.333333333,5000,1'",
        ),
        (
            lambda t: t.replace(b"01000001,11111111", b"0100000111111111,"),
            ", line 5",
            "the last three fields are not eight characters each in '3333.333333333,5000,0100000111111111,,psssssss'",
        ),
        (  # of a line without end as much is shown as fits on a screen
            lambda t: t.replace(b"01000001,11111111,psssssss", b"7" * 5000),
            ", line 5",
            f"the last three fields are not eight characters each in '3333.333333333,5000,{'7' * 40}'",
        ),
    ],
)
def test_damage_is_refused_with_its_line(
    tmp_path: Path, change: Callable[[bytes], bytes], line: str, what: str
) -> None:
    path = tmp_path / "g.csv"
    write_golden(SMALL, path)
    path.write_bytes(change(TEXT))
    with pytest.raises(CaptureError) as caught:
        read_golden(path)
    assert str(caught.value) == (
        f"{path}{line}: this is no golden, or a damaged one: {what}; write it again with `forelight golden`"
    )


def test_a_missing_or_damaged_side_file(tmp_path: Path) -> None:
    path, beside = tmp_path / "g.csv", tmp_path / "g.toml"
    write_golden(SMALL, path)
    for text, what in (
        ("board = ", "its facts are not TOML: Invalid value (at end of document)"),
        (SIDE.replace("end_ticks", "ends"), "its facts lack end_ticks"),
        (SIDE.replace("18432000", '"fast"'), "its facts lack oscillator_hz"),
        (SIDE.replace("18432000", "-1"), "its oscillator runs at -1 Hz"),
    ):
        beside.write_text(text)
        with pytest.raises(CaptureError) as caught:
            read_golden(path)
        head = f"{beside}: this is no golden, or a damaged one: "
        assert str(caught.value) == f"{head}{what}; write it again with `forelight golden`"
    beside.unlink()
    with pytest.raises(CaptureError) as caught:
        read_golden(path)
    assert str(caught.value) == (
        f"{beside}: cannot read the golden: no such file or directory; write it again with `forelight golden`"
    )


def test_a_damaged_vcd(tmp_path: Path) -> None:
    path = tmp_path / "g.vcd"
    write_golden(SMALL, path)
    text = path.read_text()
    for change in (
        text.replace("$comment board", "$comment bored"),
        text.replace(" o3 ", " other "),
        text[: len(text) // 2],
    ):
        path.write_text(change)
        with pytest.raises(CaptureError):
            read_golden(path)


def test_rows_in_which_times_and_steps_gain_digits() -> None:
    """Steps 0 to 10,050 a tick apart at 900 Hz: each field as plain arithmetic writes it."""
    steps = np.arange(10_051)
    golden = replace(
        SMALL,
        oscillator_hz=900,
        ticks=steps.copy(),
        steps=steps,
        end=10_060,
        inputs=np.resize(SMALL.inputs, len(steps)),
        outputs=np.resize(SMALL.outputs, len(steps)),
        proved=np.resize(SMALL.proved, len(steps)),
        sampled=np.resize(SMALL.sampled, len(steps)),
    )
    rows = list(csv.DictReader(io.StringIO(to_csv(golden).decode())))
    assert [row["step"] for row in rows] == [str(step) for step in steps]
    assert all(int(row["time_s"].split(".")[0]) == step // 900 for row, step in zip(rows, steps, strict=True))


def test_facts_keep_their_letters(tmp_path: Path) -> None:
    golden = replace(SMALL, facts={"design": "own", "note": "Fähre um 7 °"})
    assert 'note = "Fähre um 7 °"\n' in side(golden)
    assert tomllib.loads(side(golden))["note"] == "Fähre um 7 °"


@pytest.mark.parametrize("ending", ["csv", "vcd"])
def test_the_first_races_and_suspects_are_named_and_all_are_counted(ending: str, tmp_path: Path) -> None:
    races = tuple(Race(10 * n, n, ("i0", "i7"), ("o1",), ("own.q[0]", 'a"b')) for n in range(MOST_RACES + 5))
    golden = replace(SMALL, races=races, suspects=races[2:4])
    told = tomllib.loads(side(golden))
    assert (told["races_found"], told["suspects_found"]) == (MOST_RACES + 5, 2)
    assert told["races"][3] == {
        "tick": 30, "step": 3, "lines": "i0 i7", "outputs": "o1", "registers": 'own.q[0] a"b'
    }  # fmt: skip
    path = tmp_path / f"g.{ending}"
    write_golden(golden, path)
    again = read_golden(path)
    assert (again.races, again.suspects) == (races[:MOST_RACES], races[2:4])
