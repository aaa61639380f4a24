"""`forelight slots`: the list of a chip."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner, Result
from forelight.harness.boards.reader import load_board
from forelight.harness.cli import cli

PROFILE = """\
title = "Jetty: a board of three slots"
link = "chain"
oscillator_hz = 1_000_000
slot_count = 3
[chain]
positions = 3
ticks_per_bit = 1
[step]
line = "i7"
law = "counter"
[slots]
0 = "tide_gauge"
2 = "broken"
"""


def ask(*arguments: str, columns: int = 80) -> Result:
    return CliRunner(env={"COLUMNS": str(columns)}).invoke(cli, ["slots", *arguments])


def test_every_slot_of_the_board_is_listed() -> None:
    result = ask()
    lines = result.output.splitlines()
    slots = load_board("quay").slots
    assert lines[0] == f"Quay: the board with the chain (quay); {len(slots)} of its 192 slots hold a design."
    # The widths of the columns follow the longest name and title on the roster: compare the words.
    assert lines[2].split() == ["slot", "name", "title", "step", "clock", "from"]
    assert "101 tide_gauge Tide gauge 2 Hz harbour office" in [" ".join(line.split()) for line in lines]
    assert [int(line.split()[0]) for line in lines[3:]] == sorted(slots)
    assert result.exit_code == 0


def test_narrow_terminals_get_fewer_columns() -> None:
    for width, heading in ((40, ["slot", "name", "title"]), (60, ["slot", "name", "title", "step", "clock"])):
        assert heading in [line.split() for line in ask(columns=width).output.splitlines()]
    for width in (40, 52, 60, 72):
        assert max(map(len, ask(columns=width).output.splitlines())) <= width


def test_json_has_a_record_for_each_slot() -> None:
    records = json.loads(ask("--json").output)
    assert [record["slot"] for record in records] == sorted(load_board("quay").slots)
    for record in records:
        assert {"slot", "name", "title", "format", "wanted_hz", "description"} <= set(record)
        assert record["format"] in ("amaranth", "verilog", "netlist")
    assert {record["name"]: record["wanted_hz"] for record in records}["watch_vote"] is None


def test_a_slot_that_cannot_be_read_does_not_hide_the_others(tmp_path: Path) -> None:
    profile = tmp_path / "jetty.toml"
    profile.write_text(PROFILE)
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "datasheet.toml").write_text('title = "Broken"\nsource = ["nothing.v"]\ncolour = "blue"\n')
    result = ask("--board", str(profile))
    assert result.exit_code == 2
    assert "   0  tide_gauge  Tide gauge" in result.stdout
    assert result.stderr.count("forelight: ") == 1
    assert "colour" in result.stderr
    assert [record["slot"] for record in json.loads(ask("--board", str(profile), "--json").stdout)] == [0]


def test_a_board_that_is_not_there() -> None:
    result = ask("--board", "quai")
    assert result.exit_code == 2
    assert result.output == (
        'forelight: there is no board "quai"; did you mean "quay"? the boards are mole, quay, or give the path of a '
        "TOML file\n"
    )


def test_words_are_sought_in_titles_kinds_lines_and_descriptions() -> None:
    def named(*words: str) -> set[str]:
        return {slot["name"] for slot in json.loads(ask(*words, "--json").output)}

    assert "tide_gauge" in named("TIDE", "rising")  # a title, and the meaning of a line
    assert named("speaker") >= {"ferry_whistle", "fog_bell"}  # kinds of attachment
    assert named("amaranth") | named("verilog") == named()
    assert named("for ever", "holds everything still") == {"tide_gauge"}  # a description
    assert named("no such word") == set()
    lines = ask("tide", "rising").output.splitlines()
    assert lines[0].startswith("Quay: the board with the chain (quay); ")
    assert " ".join(lines).count("datasheets say tide and rising.") == 1
    assert any(line.split()[1:2] == ["tide_gauge"] for line in lines)
    assert len(ask("no such word").output.splitlines()) <= 2
