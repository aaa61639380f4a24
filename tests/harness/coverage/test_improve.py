"""A run that reveals more: what is written is what was promised, by another reading of it."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from forelight.harness.cli import cli
from forelight.harness.scripting.fault_coverage import coverage

from tests.sizes import sized


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def ask(*arguments: str, code: int = 0) -> Result:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(cli, ["golden", *arguments])
    assert result.exit_code == code, result.output
    return result


def answer(*arguments: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(ask(*arguments, "--json").stdout)
    return found


@pytest.mark.parametrize(
    "name", sized(["lock_gates"], ["lock_gates", "hex_segments", "gated_clock", "log_check"])
)
def test_the_run_that_is_written_reveals_what_was_said(name: str) -> None:
    found = answer(name, "--power-ups", "16", "-o", "g.csv", "--improve", "more.toml")
    before, better = found["coverage"], found["improved"]
    print(name, before["revealed"], "->", better["coverage"]["revealed"], "of", before["possible"])
    assert better["gained"] == better["coverage"]["revealed"] - before["revealed"] > 0
    written = tomllib.loads(Path("more.toml").read_text())
    assert written["do"] == better["do"]
    again = coverage(name, do=Path("more.toml"), power_ups=16)
    assert json.loads(json.dumps(again.to_json())) == better["coverage"]


def test_all_that_some_run_may_reveal_is_found() -> None:
    """Each line of the lock's gates can be told; with the order of its moves it is told where."""
    assert answer("lock_gates", "-o", "g.csv", "--improve", "more.toml")["improved"]["coverage"]["share"] == 1


def test_a_move_lasts_as_long_as_its_faults_take_to_show(tmp_path: Path) -> None:
    """Three flip-flops in a row that have shown nothing but 0: a 1 is at the output three steps after it was set, and
    the fourth step is the one that the search adds so that it is seen."""
    (tmp_path / "three.v").write_text(
        "module three(input [7:0] inputs, output [7:0] outputs);\n  reg a, b, c;\n"
        "  always @(posedge inputs[7]) begin a <= inputs[0]; b <= a; c <= b; end\n  assign outputs = c;\nendmodule\n"
    )
    (tmp_path / "zeros.toml").write_text('name = "zeros"\ndo = ["strap 29", "steps 20"]\n')
    better = answer("three.v", "--procedure", "zeros.toml", "-o", "g.csv", "--improve", "more.toml")[
        "improved"
    ]
    assert better["do"] == ["strap 29", "steps 20", "set i0=1", "steps 4"]
    assert (better["gained"], better["coverage"]["share"]) == (4, 1.0)
    assert coverage("three.v", do=[*better["do"][:-1], "steps 2"], power_ups=4).share == 0.5


def test_a_move_is_worth_its_cost_whatever_the_rate_of_the_step_clock(tmp_path: Path) -> None:
    """A counter that rests at 0. A move costs as much as eight steps, and those that are waited for after it: no
    shorter and no longer one reveals more for that than the first that is proposed. It is the same run by any clock."""
    (tmp_path / "count.v").write_text(
        "module count(input [7:0] inputs, output [7:0] outputs);\n  reg [5:0] n;\n  always @(posedge inputs[7])\n"
        "    if (inputs[6]) n <= 0; else if (inputs[0]) n <= n + 1;\n  assign outputs = n;\nendmodule\n"
    )
    found = []
    for code in (0, 29):
        rest = [f"strap {code}", "set i6=1", "steps 3", "set i6=0", "steps 5"]
        (tmp_path / "rest.toml").write_text(f'name = "rest"\ndo = {json.dumps(rest)}\n')
        asked = ("count.v", "--procedure", "rest.toml", "--power-ups", "4")
        found.append(answer(*asked, "-o", "g.csv", "--improve", "more.toml")["improved"])
    quick, slow = found
    assert (quick["do"][1:], quick["coverage"]["revealed"]) == (slow["do"][1:], slow["coverage"]["revealed"])

    begun = slow["do"][:5]
    before = coverage("count.v", do=begun, power_ups=4).revealed

    def worth(move: str, wait: str) -> float:
        revealed = coverage("count.v", do=[*begun, move, wait], power_ups=4).revealed
        return (revealed - before) / (8 + int(wait.split()[1]))

    first = worth(*slow["do"][5:7])
    others = (("set i0=1", "steps 2"), ("set i0=1", "steps 17"), ("restart", "steps 9"))
    assert all(worth(*other) < first for other in others)


def test_nothing_is_written_where_nothing_helps() -> None:
    Path("plain.v").write_text(
        "module plain(input [7:0] inputs, output [7:0] outputs);\n  assign outputs = 8'h5a;\nendmodule\n"
    )
    said = " ".join(ask("plain.v", "-o", "g.csv", "--improve", "more.toml").output.split())
    assert "No input settings and no length were found that reveal more: more.toml was not written." in said
    assert not Path("more.toml").exists()


def test_the_same_question_has_the_same_answer() -> None:
    for file in ("one.toml", "two.toml"):
        ask("lock_gates", "--power-ups", "4", "-o", "g.csv", "--improve", file)
    assert Path("one.toml").read_bytes() == Path("two.toml").read_bytes()


def test_levels_that_were_asked_for_are_part_of_the_run() -> None:
    found = answer("tide_gauge", "--set", "i0=1", "--power-ups", "4", "-o", "g.csv", "--improve", "more.toml")
    assert found["improved"]["do"][:2] == ["set i0=1", "restart"]


def test_files_that_would_be_one_are_refused() -> None:
    for file in ("g.csv", "g.toml"):
        assert "would be one file" in ask("dice", "-o", "g.csv", "--improve", file, code=2).output
    assert not Path("g.csv").exists()


def test_what_tells_nothing_is_refused_before_anything_is_written() -> None:
    said = ask("inverter_ring", "--set", "i0=1", "-o", "g.csv", "--coverage", code=2).output
    assert "a loop runs free" in said and not Path("g.csv").exists()
    assert "about one SLOT" in ask("--all", "--coverage", code=2).output
