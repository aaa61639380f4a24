"""Drivers that fight and loops that run free: said aloud wherever a person meets the design."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.harness.cli import cli

SHEET = """\
title = "Two hands"
creator = "sailing school"
license = "MIT"
description = "Two gates on one net."
source = ["design.v"]
module = "two_hands"
[[run]]
name = "both"
do = ["set i0=1", "wait 1 s"]
expect = "nobody knows"
"""
SOURCE = """\
module two_hands(input [7:0] inputs, output [7:0] outputs);
  wire y;
  and (y, inputs[0], inputs[1]);
  or (y, inputs[2], inputs[0]);
  assign outputs = {7'd0, y};
endmodule
"""
FIGHT = "Warning: net y (design.v:2.8-2.9) has two drivers that fight: "
CURRENT = "where they differ it is unsettled, and on a chip they draw current: leave one."
LOOP = "Warning: a loop of 5 gates runs free: "


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("two_hands").mkdir()
    Path("two_hands/datasheet.toml").write_text(SHEET)
    Path("two_hands/design.v").write_text(SOURCE)


def words(*arguments: str) -> str:
    return " ".join(CliRunner(env={"COLUMNS": "80"}).invoke(cli, arguments).output.split())


@pytest.mark.parametrize(
    "arguments",
    [
        ("show", "two_hands", "--still"),
        ("golden", "two_hands"),
        ("golden", "two_hands", "-o", "g.csv"),
        ("vet", "two_hands"),
        ("card", "two_hands"),
    ],
    ids=" ".join,
)
def test_drivers_that_fight(arguments: tuple[str, ...]) -> None:
    said = words(*arguments)
    assert FIGHT in said and CURRENT in said
    assert said.count("drivers that fight: ") == 1
    if arguments[0] in ("show", "card"):  # before the pictures
        assert said.index(FIGHT) < said.index("0.000 s")


def test_drivers_that_fight_stand_in_side_file_and_json() -> None:
    answer = json.loads(words("golden", "two_hands", "--run", "both", "-o", "g.csv", "--json"))
    facts = tomllib.loads(Path("g.toml").read_text())
    assert FIGHT.removeprefix("Warning: ") in facts["fights"] and answer["facts"]["fights"] == facts["fights"]
    assert "warnings" not in facts and answer["warnings"] == [facts["fights"]]
    assert "drivers that fight" in facts["undefined"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("show", "inverter_ring", "--set", "i0=1", "--still"),
        ("golden", "inverter_ring", "--set", "i0=1"),
        ("vet", "inverter_ring"),
        ("card", "inverter_ring", "--run", "let go"),
    ],
    ids=" ".join,
)
def test_loops_that_run_free(arguments: tuple[str, ...]) -> None:
    said = words(*arguments)
    assert LOOP in said and "it takes current for as long as it runs" in said
