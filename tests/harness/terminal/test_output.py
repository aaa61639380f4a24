"""Nothing that a stranger wrote reaches a terminal raw: an escape is sent through each way in."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.harness.cli import cli
from forelight.harness.terminal.output import show
from forelight.sim.plain_text import INSTEAD, clean
from rich.table import Table
from rich.text import Text

from tests.fuzz.readers import BREAKWATER

#: Clears a screen; begins an operating system command; turns the order of reading; has no width; rings; goes back.
EVIL = "\x1b[2J\x1b]0;x\x07\x9b31m\u202etxt\u2066\u200b\u200d\ufeff\u00ad\u3164\ufe0f\u2028\x08"
RAW = set(EVIL) - set("[2J]0;x31mt")


def asked(*arguments: str) -> str:
    """Everything that a command writes, on both streams."""
    result = CliRunner(env={"COLUMNS": "100"}).invoke(cli, arguments)
    assert result.exit_code in (0, 1, 2, 3), result.output
    assert result.output
    return result.output


def test_what_is_taken_out_and_what_stays() -> None:
    assert not set(clean(EVIL)) & RAW
    plain = "Größe ÷ 2: 25 µs, ½, 日本, e\u0301, ▁▂█ ⣿\n\tand a tab\n"
    assert clean(plain) == plain
    assert clean("a\rb\x00\x7f") == f"a{INSTEAD}b{INSTEAD}{INSTEAD}"


def test_drawings_are_clean_and_keep_their_own_styles(capsys: pytest.CaptureFixture[str]) -> None:
    table = Table(EVIL, EVIL)
    table.add_row(EVIL, Text(EVIL, style="bold"))
    show(EVIL, Text(EVIL), table)
    assert not set(capsys.readouterr().out) & RAW


def vcd_name(folder: Path) -> list[str]:
    path = folder / "a.vcd"
    path.write_text(
        f"$var wire 1 ! a{EVIL.split(chr(0x2028), maxsplit=1)[0]} $end $enddefinitions $end\n#0\n0!\n#1\n1!\n"
    )
    return ["check", "tide_gauge", str(path)]


def csv_cell(folder: Path) -> list[str]:
    path = folder / "a.csv"
    path.write_text(f"time,o0\n0,0\n1,1\n2,{EVIL}\n", "utf-8")
    return ["check", "tide_gauge", str(path)]


def csv_heading(folder: Path) -> list[str]:
    path = folder / "a.csv"
    path.write_text(f"time,a{EVIL}\n0,0\n1,1\n", "utf-8")
    return ["check", "tide_gauge", str(path)]


def file_name(folder: Path) -> list[str]:
    path = folder / f"a{EVIL}.csv"
    path.write_text("time,o0\n0,0\n1,1\n2,q\n")
    return ["check", "tide_gauge", str(path)]


def folder_name(folder: Path) -> list[str]:
    inside = folder / f"b{EVIL}"
    shutil.copytree(BREAKWATER / "berth_lamps", inside)
    return ["show", str(inside), "--still", "--seconds", "1"]


def missing_folder(folder: Path) -> list[str]:
    return ["vet", str(folder / EVIL)]


def verilog(folder: Path) -> list[str]:
    path = folder / "a.v"
    path.write_text(
        f"module a(input [7:0] inputs, output [7:0] outputs); wire \\q{EVIL} ; b{EVIL} c(); endmodule\n"
    )
    return ["show", str(path), "--still"]


def verilog_floating(folder: Path) -> list[str]:
    path = folder / "a.v"
    escape = "\x1b[2J\u202e"
    head = "module a(input [7:0] inputs, output [7:0] outputs);"
    text = f"{head} wire \\q{escape} ; assign outputs = \\q{escape} ; endmodule\n"
    path.write_text(text)
    return ["golden", str(path), "-o", str(folder / "a.csv")]


def rtlil(folder: Path) -> list[str]:
    path = folder / "a.il"
    name = EVIL.replace("\u2028", "")
    path.write_text(
        f"module \\a{name}\n  wire width 2 \\inputs\n  cell $weird{name} \\c{name}\n  end\nend\n", "utf-8"
    )
    return ["show", str(path), "--still"]


def printed(folder: Path) -> list[str]:
    path = folder / "a.py"
    path.write_text(f"print({EVIL!r})\nraise RuntimeError({EVIL!r})\n", "utf-8")
    return ["show", str(path), "--still", "--trust"]


def datasheet(folder: Path) -> list[str]:
    inside = folder / "c"
    shutil.copytree(BREAKWATER / "berth_lamps", inside)
    sheet = inside / "datasheet.toml"
    sheet.write_text(sheet.read_text().replace("title =", f'"{chr(92)}u001b[2J{chr(92)}u202e" = 1\ntitle ='))
    return ["vet", str(inside)]


def board(folder: Path) -> list[str]:
    path = folder / "b.toml"
    path.write_text('name = "b\\u001b[2J\\u202e"\n')
    return ["slots", "--board", str(path)]


def roster(folder: Path) -> list[str]:
    source = BREAKWATER.parents[1] / "harness" / "boards" / "quay.toml"
    path = folder / "b.toml"
    head, _, _ = source.read_text().partition("[slots]")
    path.write_text(f'{head}[slots]\n7 = "no\\u202e\\u001b[2J"\n')
    return ["slots", "--board", str(path)]


def procedure(folder: Path) -> list[str]:
    path = folder / f"p{EVIL}.toml"
    path.write_text('do = ["set \\u001b[2J\\u202e"]\n')
    return ["show", "tide_gauge", "--procedure", str(path), "--still"]


def wrong_option(folder: Path) -> list[str]:
    return ["show", "tide_gauge", f"--{EVIL}"]


def wrong_value(folder: Path) -> list[str]:
    return ["show", "tide_gauge", "--set", EVIL]


def slot_name(folder: Path) -> list[str]:
    return ["show", EVIL]


def mapped(folder: Path) -> list[str]:
    path = folder / "a.csv"
    path.write_text("time,o0\n0,0\n1,1\n")
    return ["check", "tide_gauge", str(path), "--map", f"o0={EVIL}"]


def output_name(folder: Path) -> list[str]:
    return ["golden", "tide_gauge", "--seconds", "1", "-o", str(folder / f"g{EVIL}.vcd")]


WAYS = (
    vcd_name, csv_cell, csv_heading, file_name, folder_name, missing_folder, verilog, verilog_floating, rtlil, printed,
    datasheet, board, roster, procedure, wrong_option, wrong_value, slot_name, mapped, output_name,
)  # fmt: skip


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.__name__)
def test_an_escape_through_each_way_in(way: object, tmp_path: Path) -> None:
    assert callable(way)
    arguments = way(tmp_path)
    for more in ([], ["--json"]):
        assert not set(asked(*arguments, *more)) & RAW, more
