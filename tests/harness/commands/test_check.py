"""`forelight check`: each verdict with its exit code, from the command line."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from forelight.harness.boards.reader import load_board
from forelight.harness.cli import cli
from forelight.harness.commands.check import evidence
from forelight.harness.commands.which import listed_why
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict


def ask(*arguments: str, code: int = 0) -> Result:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(cli, arguments)
    assert result.exit_code == code, result.output
    return result


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Short names, so that no line is folded because of where the tests run."""
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def capture() -> Path:
    """What a bench that does as foretold would record."""
    file = Path("bench.csv")
    ask("golden", "tide_gauge", "-o", str(file))
    file.with_suffix(".toml").unlink()
    return file


def test_a_capture_that_agrees_is_0(capture: Path) -> None:
    said = ask("check", "tide_gauge", str(capture)).output
    assert said.replace("\n", " ").startswith(
        f"Agrees: {capture} and what is foretold for Tide gauge, slot 101 of quay. Compared: "
    )
    assert "on i0 to i7, o0 to o7." in said.replace("\n", " ")
    assert "2.03804 Hz foretold; strap code 182 gives that." in said.replace("\n", " ")


@pytest.fixture
def dark(capture: Path) -> Path:
    """The same with a middle bar, o6, that stays dark."""
    rows = [line.split(",") for line in capture.read_text().splitlines()]
    for row in rows[1:]:
        row[3] = row[3][:1] + "0" + row[3][2:]  # o6, the middle bar
    capture.write_text("\n".join(",".join(row) for row in rows) + "\n")
    return capture


def test_a_capture_with_a_segment_that_stays_dark_is_1(dark: Path) -> None:
    words = " ".join(ask("check", "tide_gauge", str(dark), code=1).output.split())
    assert words.startswith(f"Differs: {dark} and what is foretold for Tide gauge, slot 101 of quay. ")
    assert "line o6 is 0 where 1 was predicted." in words
    assert "At step 2 line o6" in words  # 0 and 1 do not need the middle bar
    assert re.search(r"That is 1\.\d{3} s after the slot was up", words)


@pytest.mark.slow
def test_the_same_as_json(dark: Path) -> None:
    found = json.loads(ask("check", "tide_gauge", str(dark), "--json", code=1).output)
    assert (found["verdict"], found["first"]["line"]) == ("differs", "o6")
    assert found["slot"] == 101
    assert found["first"]["step"] == 2
    assert found["proves"] is None
    assert 0.98 < found["first"]["golden_s"] - found["start_s"] < 1.4


@pytest.mark.parametrize(
    ("first", "other"), [(12, ""), (0, "Its first entry, step 0, is what is foretold for step 12")]
)
def test_a_list_that_agrees_from_another_step_on_says_so(first: int, other: str) -> None:
    shown = ("6", "5", "4", "3", "2", "1", "0.", "1.", "2.", "3.")
    rows = [f"{first + n},{sign}" for n, sign in enumerate(shown)]
    Path("eye.csv").write_text("\n".join(["step,shown", *rows]) + "\n")
    words = " ".join(ask("check", "tide_gauge", "eye.csv", code=0).output.split())
    assert words.startswith("Agrees") and other in words and ("Its first entry" in words) == bool(other)


@pytest.mark.parametrize("run", ["--run", "--procedure"])
def test_a_recording_goes_on_when_the_run_is_over(run: str) -> None:
    """Who records stops later than the run does: the step clock runs on, and what comes then is foretold too."""
    Path("run.toml").write_text(
        'do = ["restart", "steps 5", "set i0=1", "steps 10", "set i0=0", "steps 3"]\n'
    )
    Path("on.toml").write_text(Path("run.toml").read_text().replace("steps 3", "steps 15"))
    ask("golden", "tide_gauge", "--procedure", "on.toml", "-o", "bench.csv")
    which = {"--run": "held at half tide", "--procedure": "run.toml"}[run]
    words = " ".join(ask("check", "tide_gauge", "bench.csv", run, which).output.split())
    assert words.startswith("Agrees: ") and int(words.partition(" steps, on")[0].rpartition(" ")[2]) > 28
    shown = [*"012345", *"5" * 10, *"67898765432"]
    signs = [sign + "." * (n < 19) for n, sign in enumerate(shown)]
    Path("eye.csv").write_text("\n".join(["shown", *signs]) + "\n")
    assert ask("check", "tide_gauge", "eye.csv", run, which).output.startswith("Agrees: ")


def test_a_capture_that_says_too_little_is_3() -> None:
    file = Path("eye.csv")
    file.write_text("step,outputs\n0,10000110\n1,11011011\n2,11001111\n")
    words = " ".join(ask("check", "tide_gauge", str(file), code=3).output.split())
    assert words.startswith(f"Inconclusive: {file} and what is foretold for Tide gauge")
    assert "Record more steps" in words


def test_what_an_eye_wrote_down() -> None:
    # Segments a to g of 0 to 9 with tails (TI SN74LS47, SN74247 for 6 and 9); the point is lit while the tide rises.
    digits = [0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F]
    levels = [n if n <= 9 else 18 - n for n in (step % 18 for step in range(40))]
    rising = [step % 18 < 9 for step in range(40)]
    file = Path("eye.csv")
    rows = [
        f"{n},{digits[level] | 128 * up:08b}"
        for n, (level, up) in enumerate(zip(levels, rising, strict=True))
    ]
    file.write_text("\n".join(["step,outputs", *rows]) + "\n")
    assert ask("check", "tide_gauge", str(file)).output.startswith("Agrees: ")


def test_mapped_columns(capture: Path) -> None:
    rows = [line.split(",") for line in capture.read_text().splitlines()]
    table = [["t [s]", *(f"CH{bit}" for bit in range(8))]]
    table += [[row[0], *reversed(row[3].replace("x", "0"))] for row in rows[4:]]
    table += [[f"{float(rows[-1][0]) + 0.3:.9f}", *table[-1][1:]]]  # until then it was watched
    capture.write_text("\n".join(",".join(row) for row in table) + "\n")
    mapping = [part for bit in range(8) for part in ("--map", f"o{bit}=CH{bit}")]
    assert ask("check", "tide_gauge", str(capture), *mapping).output.startswith("Agrees: ")
    assert "say which is which" in ask("check", "tide_gauge", str(capture), code=2).stderr


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "cannot read the recording: no such file or directory"),
        ("", "forelight: "),
        ("a,b\n1,2\n", "forelight: "),
    ],
)
def test_a_capture_that_cannot_be_read_is_2(content: str | None, said: str) -> None:
    file = Path("broken.csv")
    if content is not None:
        file.write_text(content)
    result = ask("check", "tide_gauge", str(file), code=2)
    assert said in result.stderr
    assert result.stdout == ""


@pytest.mark.parametrize("mapping", ["o0", "o0=", "=CH1"])
def test_a_mapping_that_is_none(mapping: str, capture: Path) -> None:
    said = ask("check", "tide_gauge", str(capture), "--map", mapping, code=2).stderr
    assert f"Invalid value for '--map': '{mapping}' does not fit" in said


def test_a_line_that_is_mapped_twice(capture: Path) -> None:
    said = ask("check", "tide_gauge", str(capture), "--map", "o0=a", "--map", "o0=b", code=2).stderr
    assert "o0 is mapped twice" in said


def test_an_empty_slot_cannot_be_checked(capture: Path) -> None:
    assert "slot 5 of quay is empty" in ask("check", "5", str(capture), code=2).stderr


@pytest.mark.parametrize(
    ("bits", "steps", "first"),
    [
        pytest.param(8, 400, 3, marks=pytest.mark.slow),
        (8, 400, 250),
        pytest.param(12, 2000, 4000, marks=pytest.mark.slow),
    ],
)
def test_a_design_without_a_restart_may_have_begun_anywhere(bits: int, steps: int, first: int) -> None:
    """A counter that was found in some state, its upper eight bits shown; and the same with one bit wrong."""
    Path("free.v").write_text(
        "module free(input [7:0] inputs, output [7:0] outputs);\n"
        f"  reg [{bits - 1}:0] count; always @(posedge inputs[7]) count <= count + 1;\n"
        f"  assign outputs = count[{bits - 1}:{bits - 8}];\nendmodule\n"
    )
    shown = [(first + step) % (1 << bits) >> bits - 8 for step in range(steps)]

    def record(file: str) -> str:
        rows = [[f"{step / 50.2:.6f}", *f"{value:08b}"[::-1]] for step, value in enumerate(shown)]
        head = ["time_s", *(f"o{bit}" for bit in range(8))]
        Path(file).write_text("\n".join(map(",".join, [head, *rows])) + "\n")
        return file

    said = ask("check", "free.v", record("good.csv"), "--hz", "50").output
    assert f"all beginnings in its period of {1 << bits} steps were tried" in said.replace("\n", " ")
    shown[steps // 2] ^= 1
    said = ask("check", "free.v", record("bad.csv"), "--hz", "50", code=1).output
    assert "line o0 is" in said


def test_odds_that_it_fits_stand_beside_agrees_alone() -> None:
    """However much speaks for the rest of a recording, odds for it beside 'differs' would mislead."""
    found = Verdict(AGREES, steps=300, bits=2400, rate_hz=50.0, expected_hz=50.0, evidence=200.0)
    for kind in (AGREES, DIFFERS, INCONCLUSIVE):
        said = " ".join(evidence(replace(found, kind=kind), 0.0, "strap code"))
        assert "2400 bits in 300 steps" in said
        assert ("to one" in said) == (kind == AGREES)
        row = listed_why(replace(found, kind=kind, reasons=("Thus.",)))
        assert ("to one" in row) == (kind == AGREES)


@pytest.mark.slow
def test_no_odds_that_it_fits_where_a_recording_differs(capture: Path) -> None:
    """The second half of it has one line upside down."""
    rows = [row.split(",") for row in capture.read_text().splitlines()]
    for cells in rows[len(rows) // 2 :]:
        cells[3] = cells[3][:-1] + "10"[int(cells[3][-1])]
    capture.write_text("\n".join(map(",".join, rows)) + "\n")
    words = " ".join(ask("check", "tide_gauge", str(capture), code=1).output.split())
    assert "Compared: " in words
    assert "to one" not in words


ROSTER = {7: "word_roller", 8: "tide_gauge", 9: "travelling_wave", 11: "hex_segments"}


def test_which_slot_a_capture_fits(capture: Path) -> None:
    profile = load_board("quay").path
    assert profile is not None
    board = Path("few.toml")
    head = profile.read_text(encoding="utf-8").partition("[slots]")[0]
    board.write_text(head + "[slots]\n" + "".join(f'{slot} = "{name}"\n' for slot, name in ROSTER.items()))
    result = ask("check", "--any", str(capture), "--board", str(board), "--json")
    found = json.loads(result.output)["slots"]
    assert [(slot["slot"], slot["verdict"]) for slot in found[:2]] == [
        (8, "agrees"),
        (found[1]["slot"], "differs"),
    ]
    assert {slot["slot"] for slot in found} == set(ROSTER)


def test_which_run_of_a_slot_a_capture_fits(capture: Path) -> None:
    """A run of the datasheet counts as well as the usual one."""
    profile = load_board("quay").path
    assert profile is not None
    head = profile.read_text(encoding="utf-8").partition("[slots]")[0]
    Path("few.toml").write_text(head + '[slots]\n8 = "tide_gauge"\n9 = "load_counter"\n')
    ask("golden", "load_counter", "--run", "twelve sacks", "-o", "sacks.vcd")
    said = " ".join(ask("check", "--any", "sacks.vcd", "--board", "few.toml").output.split())
    assert said.startswith("sacks.vcd fits Load counter in slot 9; 0 of 2 slots cannot be told.")
    assert re.search(r'9 Load counter, run "twelve fits \d+ bits in \d+ steps', said)


def test_any_wants_the_capture_alone(capture: Path) -> None:
    assert "give the capture alone" in ask("check", "--any", "101", str(capture), code=2).stderr
    assert "Missing argument 'CAPTURE'" in ask("check", str(capture), code=2).stderr
    assert "belongs to one design" in ask("check", "--any", str(capture), "--run", "a day", code=2).stderr


def test_a_tone_that_begins_and_ends_agrees_where_the_restart_was_recorded() -> None:
    """A whistle fits itself two steps later nearly as well, all but its ends; the restart says which it is."""
    ask("golden", "ferry_whistle", "-o", "whistle.vcd")
    found = json.loads(ask("check", "ferry_whistle", "whistle.vcd", "--json").output)
    assert found["verdict"] == "agrees"
    assert 10 < found["evidence"] < 100


def test_a_run_that_shows_too_little_is_no_difference_and_a_better_one_is_named() -> None:
    """At rest the load counter shows 0 all the time; its own run counts."""
    ask("golden", "load_counter", "-o", "rest.vcd")
    words = " ".join(ask("check", "load_counter", "rest.vcd", code=3).output.split())
    assert "The recording has 1 change, so few or so alike" in words
    assert 'check with --run "twelve sacks"' in words
    ask("golden", "load_counter", "--run", "twelve sacks", "-o", "sacks.vcd")
    assert "Agrees: " in ask("check", "load_counter", "sacks.vcd", "--run", "twelve sacks").output


def test_characters_that_an_eye_wrote_down() -> None:
    """The tide rises with the point lit, and falls without it."""
    shown = [*(f"{n}." for n in range(9)), *(str(n) for n in range(9, 0, -1)), "0.", "1."]
    Path("eye.csv").write_text("\n".join(["shown", *shown]) + "\n")
    words = " ".join(ask("check", "tide_gauge", "eye.csv").output.split())
    assert "Agrees: " in words
    assert "The rows have no step: each was taken as the next one." in words
    shown[6] = "5."
    Path("eye.csv").write_text("\n".join(["shown", *shown]) + "\n")
    assert "At step 6 line o4 is 0 where 1" in ask("check", "tide_gauge", "eye.csv", code=1).output


def test_restart_that_a_hand_held_for_longer_is_no_difference() -> None:
    """The prediction restarts at once and for one step."""
    Path("hand.toml").write_text('do = ["wait 1.3 s", "set i6=1", "frames 777", "set i6=0", "steps 150"]\n')
    ask("golden", "weather_report", "--procedure", "hand.toml", "-o", "hand.vcd")
    found = json.loads(ask("check", "weather_report", "hand.vcd", "--json").output)
    assert (found["verdict"], found["steps"]) == ("agrees", 151)


def test_a_recording_that_agrees_says_what_it_proves(capture: Path) -> None:
    said = " ".join(ask("check", "tide_gauge", str(capture)).output.split())
    whole = json.loads(ask("check", "tide_gauge", str(capture), "--json").output)["proves"]
    assert f"It would have shown {whole['revealed']} of {whole['possible']} (" in said
    foretold = json.loads(ask("golden", "tide_gauge", "-o", "g.csv", "--coverage", "--json").output)[
        "coverage"
    ]
    assert (whole["revealed"], whole["possible"]) == (foretold["revealed"], foretold["possible"])


def test_what_was_not_recorded_proves_nothing(capture: Path) -> None:
    rows = [line.split(",") for line in capture.read_text().splitlines()]
    few = [[time, outputs[4]] for time, _, _, outputs, _ in rows[1:]]  # o3, the bottom bar
    Path("few.csv").write_text("time_s,o3\n" + "".join(f"{time},{level}\n" for time, level in few))
    part = json.loads(ask("check", "tide_gauge", "few.csv", "--json").output)["proves"]
    short = len(rows) // 2
    Path("short.csv").write_text("\n".join(",".join(row) for row in rows[:short]) + "\n")
    half = json.loads(ask("check", "tide_gauge", "short.csv", "--json").output)["proves"]
    whole = json.loads(ask("check", "tide_gauge", str(capture), "--json").output)["proves"]
    assert 0 < part["revealed"] < whole["revealed"] and 0 < half["revealed"] < whole["revealed"]
    seen = {line["number"] for line in whole["missed"]}
    assert seen < {line["number"] for line in part["missed"]} & {line["number"] for line in half["missed"]}
