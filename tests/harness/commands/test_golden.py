"""`forelight golden`: files, standard output, and what is said about them."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from forelight.harness.cli import cli
from forelight.harness.golden.read import read_golden
from vcdvcd import VCDVCD

HEAD = ["time_s", "step", "inputs", "outputs", "claim"]


def ask(*arguments: str, code: int = 0) -> Result:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(cli, ["golden", *arguments])
    assert result.exit_code == code, result.output
    return result


def test_csv_on_standard_output() -> None:
    data = ask("tide_gauge", "-o", "-").stdout_bytes
    rows = list(csv.reader(io.StringIO(data.decode("ascii"), newline="")))
    assert rows[0] == HEAD
    assert {len(row) for row in rows} == {5}
    assert rows[-1][3] == "11011011"  # after 20 steps: 2, and the point lit
    assert data == ask("tide_gauge").stdout_bytes


def test_csv_file_with_its_facts(tmp_path: Path) -> None:
    file = tmp_path / "tide.csv"
    said = " ".join(ask("tide_gauge", "-o", str(file), "--seed", "7").output.split())
    assert file.read_bytes() == ask("tide_gauge", "--seed", "7").stdout_bytes
    facts = tomllib.loads(file.with_suffix(".toml").read_text())
    assert facts["design"] == "tide_gauge"
    assert facts["seed"] == 7
    rows = len(file.read_text().splitlines()) - 1
    assert said.startswith(f"Wrote {file} and {file.with_suffix('.toml')}: {rows} rows over ")
    assert said.endswith(
        ", all outputs settled. The restart settles the whole design, 1 step after it begins: proved from any "
        "state, at any rate."
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["tide.csv", "tide.toml"]


def test_vcd_file_as_another_reader_sees_it(tmp_path: Path) -> None:
    # vcdvcd is a reader of IEEE 1364 dumps that is not ours.
    file = tmp_path / "tide.vcd"
    ask("tide_gauge", "-o", str(file))
    names = {name.rsplit(".", 1)[-1] for name in VCDVCD(str(file)).signals}
    assert names == {f"{side}{line}" for side in "io" for line in range(8)}


def test_json_tells_what_was_written(tmp_path: Path) -> None:
    file = tmp_path / "tide.csv"
    found = json.loads(ask("tide_gauge", "-o", str(file), "--json", "--seconds", "3").output)
    assert found["files"] == [str(file), str(file.with_suffix(".toml"))]
    assert found["rows"] == len(file.read_text().splitlines()) - 1
    assert found["unsettled"] == []
    assert 3 < found["end_s"] - found["start_s"] < 3.6
    assert found["do"][:1] == ["select 101"]


def contribution(folder: Path, body: str) -> str:
    (folder / "own.v").write_text(
        f"module own(input [7:0] inputs, output [7:0] outputs);\n  {body}\nendmodule\n"
    )
    return str(folder / "own.v")


def test_a_design_without_a_restart_may_begin_anywhere(tmp_path: Path) -> None:
    toggle = "reg state; always @(posedge inputs[7]) state <= ~state; assign outputs = {4'b0, state, 3'b0};"
    source, file = contribution(tmp_path, toggle), tmp_path / "own.csv"
    said = " ".join(ask(source, "-o", str(file), "--hz", "50").output.split())
    assert "every 2 steps (0.04 s), and each of 256 power-ups shows the same from another place on" in said
    facts = tomllib.loads(file.with_suffix(".toml").read_text())
    assert (facts["start"], facts["period_steps"]) == ("anywhere", 2)
    claims = [row.rpartition(",")[2] for row in file.read_text().split()[1:]]
    assert claims[-1] == "ppppsppp"


def test_unsettled_outputs_are_named(tmp_path: Path) -> None:
    latch = "reg state; always @(posedge inputs[7]) if (inputs[0]) state <= inputs[1]; assign outputs = {state, 7'b0};"
    source, file = contribution(tmp_path, latch), tmp_path / "own.csv"
    found = json.loads(ask(source, "-o", str(file), "--power-ups", "40", "--json").output)
    assert (found["unsettled"], found["settling"]["never"]) == (["o7"], ["o7"])
    assert found["facts"]["power_ups"] == 40
    said = " ".join(ask(source, "-o", str(file)).output.split())
    kept = "state (own.v:2) may still hold what it held before"
    sentence = f"The restart does not settle the design: {kept}, and o7 shows it."
    assert f" on, unsettled: o7. {sentence} In this run o7 is unsettled: 256 power-ups did not agree" in said
    assert found["restarting"]["settles"] == "nothing" and found["restarting"]["sentence"] == sentence


def test_a_race_is_named_with_what_to_do(tmp_path: Path) -> None:
    kept = "reg state; always @(posedge inputs[7]) state <= inputs[0]; assign outputs = {7'b0, state};"
    asked = tmp_path / "race.toml"
    asked.write_text('name = "race"\ndo = ["disable", "set i7=1", "set i7=0", "set i0=1 i7=1", "frames 3"]\n')
    source, file = contribution(tmp_path, kept), tmp_path / "own.csv"
    said = " ".join(ask(source, "-o", str(file), "--procedure", str(asked)).output.split())
    assert (
        "i0 and i7 (the step line) move in one update: what o0 shows then depends on which is first." in said
    )
    assert said.endswith(
        "Change inputs with the step clock off, or only while it stands still, and nothing races."
    )
    facts = tomllib.loads(file.with_suffix(".toml").read_text())
    assert [(race["lines"], race["outputs"]) for race in facts["races"]] == [("i0 i7", "o0")]
    assert read_golden(file).races[0].registers == ("state",)
    dump = file.with_suffix(".vcd")
    ask(source, "-o", str(dump), "--procedure", str(asked))
    assert read_golden(dump).races == read_golden(file).races


def test_a_rate_beside_a_procedure_that_sets_its_own_is_refused(tmp_path: Path) -> None:
    asked = tmp_path / "own.toml"
    asked.write_text('do = ["strap 29", "restart", "steps 2"]\n')
    for option in (("--strap", "5"), ("--hz", "2")):
        said = ask("dice", "--procedure", str(asked), *option, code=2).stderr
        assert said == "forelight: the procedure own sets the step clock itself; leave --strap and --hz out\n"
    asked.write_text('do = ["restart", "steps 2", "strap 29", "steps 2"]\n')
    ask("dice", "--procedure", str(asked), "--strap", "5")


def test_what_only_the_proof_suspects_is_named_and_read_back(tmp_path: Path) -> None:
    twins = (
        "reg one, two; always @(posedge inputs[7]) begin one <= inputs[0]; two <= inputs[0]; end "
        "assign outputs = {7'b0, one ^ two};"
    )
    asked = tmp_path / "race.toml"
    asked.write_text('name = "race"\ndo = ["disable", "set i7=1", "set i7=0", "set i0=1 i7=1", "frames 3"]\n')
    source, file = contribution(tmp_path, twins), tmp_path / "own.csv"
    said = " ".join(ask(source, "-o", str(file), "--procedure", str(asked)).output.split())
    assert "which is first may decide what o0 shows then. No proof rules it out, though 256 power-ups" in said
    assert "# No proof rules out that which of these lines is first" in file.with_suffix(".toml").read_text()
    piped = ask(source, "--procedure", str(asked))
    assert piped.stdout.startswith("time_s,step,inputs,outputs,claim") and "race" not in piped.stdout
    assert " ".join(piped.stderr.split()).endswith("or only while it stands still, and nothing races.")
    (suspect,) = read_golden(file).suspects
    assert (suspect.lines, suspect.outputs, suspect.registers) == (("i0", "i7"), ("o0",), ("one", "two"))
    assert not read_golden(file).races
    dump = file.with_suffix(".vcd")
    found = json.loads(ask(source, "-o", str(dump), "--procedure", str(asked), "--json").output)
    assert read_golden(dump).suspects == (suspect,)
    assert [race["line_names"] for race in found["suspects"]] == [["i0", "i7"]]


def test_options_change_the_run(tmp_path: Path) -> None:
    held = json.loads(ask("tide_gauge", "--set", "i0=1", "-o", str(tmp_path / "held.csv"), "--json").output)
    assert "set i0=1 i1=0 i2=0 i3=0 i4=0 i5=0 i6=0 i7=0" in held["do"]
    fast = json.loads(ask("tide_gauge", "--strap", "29", "-o", str(tmp_path / "fast.csv"), "--json").output)
    assert "strap 29" in fast["do"]
    told = json.loads(
        ask("tide_gauge", "--run", "one tide", "-o", str(tmp_path / "told.csv"), "--json").output
    )
    assert told["do"][-2:] != fast["do"][-2:]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ["-o", "tide.txt"],
            "forelight: tide.txt: the ending '.txt' is not that of a golden; allowed: .csv, .vcd, or - for",
        ),
        (["-o", "none/tide.csv"], "cannot write the file: no such file or directory"),
        (["-o", "-", "--json"], "forelight: --json needs a file for the golden; name one with -o"),
    ],
)
def test_what_cannot_be_written(
    arguments: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = ask("tide_gauge", *arguments, code=2)
    assert said in result.stderr
    if "--json" in arguments:
        error = json.loads(result.stdout)["error"]
        assert error["what"] in said and error["exit_code"] == 2
    else:
        assert result.stdout == ""
    assert not list(tmp_path.iterdir())


def test_an_empty_slot_has_no_golden() -> None:
    assert ask("5", code=2).stderr == (
        "forelight: slot 5 of quay is empty; `forelight slots` lists those that are not\n"
    )


def test_times_of_a_direct_link_are_told_in_small_units(tmp_path: Path) -> None:
    asked = tmp_path / "short.toml"
    asked.write_text('do = ["set i0=1 i1=1", "frames 3", "set i0=0 i1=0", "frames 4"]\n')
    file = tmp_path / "g.csv"
    said = ask("nor_latch", "--board", "mole", "--procedure", str(asked), "-o", str(file)).output
    words = " ".join(said.split())
    assert "3 rows over 200 ns; once the slot is up, from 20 ns on, unsettled: o0, o1." in words
    assert "At 100 ns, step 0, i0 and i1 move in one update" in words


def test_watched_signals_go_into_a_dump(tmp_path: Path) -> None:
    file = tmp_path / "tide.vcd"
    words = ["golden", "tide_gauge", "--seconds", "8", "-o", str(file), "--watch", "level"]
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 0, result.output
    # An independent reader (PyPI vcdvcd): up to 9 and down again.
    levels = [
        int(value, 2) for _, value in VCDVCD(str(file))["forelight.level[3:0]"].tv if set(value) <= {"0", "1"}
    ]
    assert levels[-17:] == [*range(10), *range(8, 1, -1)]
    assert read_golden(file).end > 0  # what is beside the lines does not disturb
    result = CliRunner().invoke(cli, [*words[:4], "-o", str(tmp_path / "x.csv"), "--watch", "level"])
    assert "--watch adds signals to a dump; name a file that ends in .vcd" in result.output
