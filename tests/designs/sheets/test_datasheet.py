"""A datasheet becomes a record, or one error that names file, line, key, what was found and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs import catalogue
from forelight.designs.datasheet import Attachment, Meaning, RestartLine, Run, StepLine
from forelight.designs.sheets.bare import bare
from forelight.designs.sheets.reader import load
from forelight.sim.errors import SourceError

GOOD = (Path(__file__).parent / "ferry_datasheet.toml").read_text()


def contribution(folder: Path, text: str = GOOD, files: tuple[str, ...] = ("design.py",)) -> Path:
    place = folder / "ferry"
    place.mkdir(exist_ok=True)
    (place / "datasheet.toml").write_text(text)
    for name in files:
        (place / name).write_text("")
    return place


def test_every_key_reaches_the_record(tmp_path: Path) -> None:
    sheet = load(contribution(tmp_path))
    assert (sheet.name, sheet.title, sheet.folder) == ("ferry", "Ferry whistle", tmp_path / "ferry")
    assert (sheet.creator, sheet.license) == ("evening class, bench 4", "MIT")
    assert sheet.description.startswith("One prolonged blast")
    assert (sheet.sources, sheet.top, sheet.format) == (("design.py",), "FerryWhistle", "amaranth")
    assert sheet.step == StepLine("i7", 750.0)
    assert sheet.restart == RestartLine("i6", "low")
    assert sheet.lines == {"i2": Meaning("mute", 1), "o4": Meaning("whistle")}
    assert sheet.ports == {"clock": "i7", "pin[0]": "i2", "rst": "i6", "horn": "o4"}
    assert sheet.attach == (Attachment("speaker", {"signal": "o4"}, {"volume": 0.5}),)
    assert sheet.runs == (Run("two blasts", ("restart", "steps 97500"), "a blast of 4 to 6 s"),)
    assert sheet.assumed == ()
    assert sheet.idle == 0b0100_0100  # mute rests at 1, and so does a restart that is active low


def test_the_file_itself_and_its_folder_give_the_same(tmp_path: Path) -> None:
    place = contribution(tmp_path)
    assert load(place / "datasheet.toml") == load(place)


def test_the_least_datasheet_is_a_title_and_a_source(tmp_path: Path) -> None:
    sheet = load(contribution(tmp_path, 'title = "x"\nsource = "a.v"\n', ("a.v",)))
    assert (sheet.sources, sheet.top, sheet.format) == (("a.v",), None, "verilog")
    assert (sheet.step, sheet.restart, sheet.idle) == (None, None, 0)


def test_several_verilog_files_have_their_top_in_module(tmp_path: Path) -> None:
    text = 'title = "x"\nsource = ["a.v", "b.sv"]\nmodule = "top"\nformat = "verilog"\n'
    sheet = load(contribution(tmp_path, text, ("a.v", "b.sv")))
    assert (sheet.sources, sheet.top, sheet.format) == (("a.v", "b.sv"), "top", "verilog")


def test_lines_of_the_boards_own_have_ports(tmp_path: Path) -> None:
    text = """title = "x"
source = "c.il"
step = { line = "own" }
restart = { line = "own" }
ports = { clk = "step", rst = "restart", q = "o0" }
"""
    sheet = load(contribution(tmp_path, text, ("c.il",)))
    assert sheet.format == "netlist"
    assert sheet.ports == {"clk": "step", "rst": "restart", "q": "o0"}
    assert sheet.idle == 0


def test_a_bare_source_runs_with_stated_assumptions(tmp_path: Path) -> None:
    file = tmp_path / "blink.v"
    file.write_text("")
    sheet = bare(file, None, "i7", "i6")
    assert (sheet.name, sheet.title, sheet.folder, sheet.sources) == (
        "blink",
        "blink",
        tmp_path,
        ("blink.v",),
    )
    assert (sheet.format, sheet.top, sheet.step, sheet.restart) == (
        "verilog",
        None,
        StepLine("i7"),
        RestartLine("i6", "high"),
    )
    assert sheet.assumed == (
        "ports: inputs and outputs, eight bits each, bit 0 is line 0",
        "step line: i7, as the board suggests",
        "restart line: i6, as the board suggests, active high",
        "all other inputs: 0 at rest",
        "top: the only one in the source that no other uses",
    )
    assert bare(file, "blink", None, None).assumed[1:] == (
        "step line: none",
        "restart line: none",
        "all other inputs: 0 at rest",
    )


@pytest.mark.parametrize(
    ("board_step", "board_restart", "step", "restart"),
    [
        ("own", "own", "i7", "i6"),
        ("own", "i7", "i6", "i7"),
        ("i6", "own", "i6", "i7"),
        ("i0", "own", "i0", "i6"),
    ],
)
def test_a_bare_source_takes_a_boards_own_lines_on_inputs(
    tmp_path: Path, board_step: str, board_restart: str, step: str, restart: str
) -> None:
    file = tmp_path / "blink.il"
    file.write_text("")
    sheet = bare(file, "blink", board_step, board_restart)
    assert (sheet.step, sheet.restart) == (StepLine(step), RestartLine(restart))
    if board_step == "own":
        assert sheet.assumed[1] == f"step line: {step}, which the board's own step line drives"
    if board_restart == "own":
        assert (
            sheet.assumed[2]
            == f"restart line: {restart}, which the board's own restart line drives, active high"
        )


def test_what_is_no_source_is_refused(tmp_path: Path) -> None:
    with pytest.raises(
        SourceError, match=r'the ending ".vhd" is not that of a source; allowed: .py, .v, .sv, .il, or'
    ):
        bare(tmp_path / "x.vhd", None, None, None)
    with pytest.raises(SourceError, match="no such file; give the path of a source or of a contribution"):
        bare(tmp_path / "x.v", None, None, None)


@pytest.mark.parametrize("name", catalogue.names())
def test_every_folder_of_the_catalogue_is_valid(name: str) -> None:
    sheet = catalogue.load_design(name)
    assert sheet.name == name
    assert sheet.creator and sheet.license and sheet.description and sheet.runs
    assert 0 <= sheet.idle <= 255


@pytest.mark.parametrize(("active", "idle"), [("high", 0b0000_0100), ("low", 0b0100_0100)])
def test_a_restart_rests_at_the_level_that_is_not_active(tmp_path: Path, active: str, idle: int) -> None:
    sheet = load(contribution(tmp_path, GOOD.replace('active = "low"', f'active = "{active}"')))
    assert sheet.restart == RestartLine("i6", active)
    assert sheet.idle == idle
