"""RTLIL of Verilog that is kept between runs: read once, made anew when anything it depends on changes."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs import read
from forelight.designs.sources import verilog, yosys
from forelight.designs.sources.confinement import landlock_version
from forelight.designs.sources.verilog import verilog_rtlil
from forelight.sim.errors import SourceError

GATE = "module gate(input a, input b, output y);\n  assign y = a & b;\nendmodule\n"


@pytest.fixture(autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path_factory.mktemp("cache")
    monkeypatch.setenv("FORELIGHT_CACHE", str(folder))
    return folder


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def entries(cache: Path) -> list[Path]:
    return sorted(cache.glob("*.rtlil"))


def test_the_same_source_is_read_once(folder: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("gate.v").write_text(GATE)
    first = verilog_rtlil(["gate.v"])
    assert len(entries(cache)) == 1
    with monkeypatch.context() as patch:
        patch.setattr(yosys, "_run", None)  # a second run would fail
        assert verilog_rtlil(["gate.v"]) == first
        Path("copy").mkdir()
        Path("copy/gate.v").write_text(GATE)
        assert verilog_rtlil(["copy/gate.v"]) == first
    verilog_rtlil(["gate.v"], top="gate")
    verilog_rtlil(["gate.v"], define={"X": 1})
    assert len(entries(cache)) == 3
    Path("gate.v").write_text(GATE.replace("&", "|"))
    assert "$or" in verilog_rtlil(["gate.v"])
    assert len(entries(cache)) == 4


def test_a_header_that_changes_or_appears(folder: Path) -> None:
    Path("first").mkdir()
    Path("second").mkdir()
    Path("t.v").write_text(
        '`include "op.vh"\nmodule t(input a, b, output y);\n  assign y = a `OP b;\nendmodule\n'
    )
    Path("second/op.vh").write_text('`include "deep.vh"\n')
    Path("second/deep.vh").write_text("`define OP &\n")
    assert "$and" in verilog_rtlil(["t.v"], include=["first", "second"])
    Path("second/deep.vh").write_text("`define OP |\n")
    assert "$or" in verilog_rtlil(["t.v"], include=["first", "second"])
    Path("first/op.vh").write_text("`define OP ^\n")
    assert "$xor" in verilog_rtlil(["t.v"], include=["first", "second"])


MEMORY = """module t(output [3:0] y);
  reg [3:0] m [0:0];
  initial {read};
  assign y = m[0];
endmodule
"""
#: Ways to name the file of a memory that a search of the text for `$readmemh("m.hex"` does not find.
HIDDEN = {
    "a macro": ("`define LOAD(file) $readmemh(file, m)\n", '`LOAD("m.hex")'),
    "a macro for half the name": ("`define READ $readmem``h\n", '`READ ("m.hex", m)'),
    "blanks and comments": ("", '$readmemh /* from */ ( // here\n    "m.hex", m)'),
    "an escape": ("", '$readmemh("m\\056hex", m)'),
    "a parameter": ('`define NAME "m.hex"\n', "$readmemh(NAME, m); localparam NAME = `NAME"),
    "a header in a header": ('`include "one.vh"\n', "`LOAD"),
}


@pytest.mark.parametrize("way", HIDDEN)
def test_a_table_that_changes_is_seen(folder: Path, way: str) -> None:
    head, load = HIDDEN[way]
    Path("one.vh").write_text('`include "two.vh"\n')
    Path("two.vh").write_text('`define LOAD $readmemh("m.hex", m)\n')
    Path("t.v").write_text(head + MEMORY.format(read=load))
    for value in (5, 6, 7):
        Path("m.hex").write_text(f"{value}\n")
        assert read("t.v").memories[0].init[0].bits == value


def test_a_header_in_a_header_that_changes_is_seen(folder: Path) -> None:
    Path("one.vh").write_text('`define TWO "two.vh"\n`include `TWO\n')
    Path("t.v").write_text('`include "one.vh"\nmodule t(output [3:0] y);\n  assign y = `VALUE;\nendmodule\n')
    for value in (5, 6):
        Path("two.vh").write_text(f"`define VALUE {value}\n")
        word = read("t.v").outputs["y"].as_const()
        assert word is not None and word.bits == value


def test_a_table_that_appears_beside_the_source_is_seen(folder: Path) -> None:
    """Yosys looks where it is started first, then beside the source."""
    Path("lib").mkdir()
    Path("lib/t.v").write_text(MEMORY.format(read='$readmemh("m.hex", m)'))
    Path("top.v").write_text("module top(output [3:0] y);\n  t t(y);\nendmodule\n")
    Path("lib/m.hex").write_text("5\n")
    assert read(["top.v", "lib/t.v"]).memories[0].init[0].bits == 5
    Path("m.hex").write_text("6\n")
    assert read(["top.v", "lib/t.v"]).memories[0].init[0].bits == 6


def test_a_file_whose_name_is_not_written_out_is_never_kept(folder: Path, cache: Path) -> None:
    Path("t.v").write_text(
        'module t #(parameter F = "m.hex") (output [3:0] y);\n  reg [3:0] m [0:0];\n  initial $readmemh(F, m);\n'
        "  assign y = m[0];\nendmodule\n"
    )
    Path("m.hex").write_text("5\n")
    assert read("t.v").memories[0].init[0].bits == 5
    assert entries(cache) == []


def test_only_what_the_key_covers_can_be_opened(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a name were overlooked, Yosys could not open the file."""
    if not landlock_version():
        pytest.skip("this system has no Landlock")
    Path("t.v").write_text(MEMORY.format(read='$readmemh("m.hex", m)'))
    Path("m.hex").write_text("5\n")
    monkeypatch.setattr(verilog, "tables", lambda texts: ([], True))
    with pytest.raises(SourceError, match=r"^t\.v:3: Yosys: Can not open file `m.hex`"):
        verilog_rtlil(["t.v"])


def test_damaged_entries_are_made_anew(folder: Path, cache: Path) -> None:
    Path("gate.v").write_text(GATE)
    text = verilog_rtlil(["gate.v"])
    (entry,) = entries(cache)
    whole = entry.read_bytes()
    for damage in (b"", whole[:-9], whole.replace(b"$and", b"$xor"), b"\xff" + whole):
        entry.write_bytes(damage)
        assert verilog_rtlil(["gate.v"]) == text
        assert entry.read_bytes() == whole


def test_a_cache_that_cannot_be_written(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("gate.v").write_text(GATE)
    monkeypatch.setenv("FORELIGHT_CACHE", str(folder / "gate.v" / "below"))
    assert "$and" in verilog_rtlil(["gate.v"])
