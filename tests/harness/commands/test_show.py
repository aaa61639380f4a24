"""`forelight show` on the demo boards: what it says, in words, pictures and JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.designs.catalogue import load_design
from forelight.harness.boards.reader import load_board
from forelight.harness.boards.writer import write_board
from forelight.harness.cli import cli
from forelight.harness.terminal.answers import VERSION
from forelight.harness.view.limits import DANGER


def ask(*arguments: str, code: int = 0, columns: int = 80, charset: str = "utf-8") -> str:
    result = CliRunner(env={"COLUMNS": str(columns)}, charset=charset).invoke(cli, ["show", *arguments])
    assert result.exit_code == code, result.output
    return result.output


TIDE = """\
Tide gauge, slot 101 of quay; from harbour office
The water level from 0 to 9 and back, a digit a step, for ever. The point is lit
while the tide rises, and i0 holds everything still.

Step clock on i7: 2.03804 Hz, strap code 182; the author wants 2 Hz.
Switches while strapping: i7, i5, i4, i2, i1 at 1 (closed); i6, i3, i0 at 0
(open).
Restart on i6, active high.
Input i0 = 0 (switch open): hold

From the moment at which the restart is let go:

0.000 s   0.491 s   0.981 s   1.472 s
 ███       ···       ███       ███
█   █     ·   █     ·   █     ·   █
 ···       ···       ███       ███
█   █     ·   █     █   ·     ·   █
 ███  █    ···  █    ███  █    ███  █
step 0    step 1    step 2    step 3
10111111  10000110  11011011  11001111

The run ends at 1.962 s.
· dark, █ lit
Eight levels: o7 first

To the eye: readable; each picture stays 0.491 s or longer.
Step clock on i7: running at 2.03804 Hz. Restart on i6 not held.

Levels from step 0 to step 3, a character each:
i0 hold                ▁▁▁▁
i6 restart             ▁▁▁▁
o0                     ▔▁▔▔
o2                     ▔▔▁▔
o3                     ▔▁▔▔
o4                     ▔▁▔▁
o5                     ▔▁▁▁
o6                     ▁▁▔▔
o7 the tide is rising  ▔▔▔▔

line  segment  changes   high  at end  means
o0    a              2   75 %       1
o1    b              0  100 %       1
o2    c              2   75 %       1
o3    d              2   75 %       1
o4    e              3   50 %       0
o5    f              1   25 %       0
o6    g              1   50 %       1
o7    point          0  100 %       1  the tide is rising

The restart settles the whole design, 1 step after it begins: proved from any
state, at any rate.

Runs of the datasheet, to be had with --run:
  "one tide": up from 0 to 9, down to 0 and up again; the point goes out at 9
  and lights up at 0
  "held at half tide": up to 5, which stays for ten steps more, then 6, 7 and 8
"""


def test_a_counting_digit_as_a_strip() -> None:
    # Digits as in the TI SN74LS47 table, with tails; 2.03804 Hz is 3000 frames / (2 * 23 * 2**5).
    assert ask("tide_gauge", "--seconds", "1.5") == TIDE


def test_by_number_by_name_and_by_folder_it_is_the_same() -> None:
    from forelight.designs import catalogue

    folder = Path(catalogue.__file__).parent / "breakwater" / "tide_gauge"
    assert ask("101", "--seconds", "1.5") == TIDE
    assert ask(str(folder), "--seconds", "1.5") == TIDE


def test_what_an_encoding_lacks_is_drawn_in_ascii() -> None:
    drawn = ask("tide_gauge", "--seconds", "1.5", charset="latin-1").splitlines()
    first = drawn.index("0.000 s   0.491 s   0.981 s   1.472 s") + 1
    assert drawn[first : first + 5] == [
        " ###       ...       ###       ###",
        "#   #     .   #     .   #     .   #",
        " ...       ...       ###       ###",
        "#   #     .   #     #   .     .   #",
        " ###  #    ...  #    ###  #    ###  #",
    ]
    assert ". dark, # lit" in drawn


@pytest.mark.parametrize(
    "slot", ["tide_gauge", "lighthouse", "dice", "watch_vote", "lamp_dimmer", "word_roller"]
)
@pytest.mark.parametrize("columns", [40, 57])
def test_narrow_output_keeps_within_its_columns(slot: str, columns: int) -> None:
    assert max(map(len, ask(slot, "--seconds", "2", columns=columns).splitlines())) <= columns


def test_light_faster_than_the_eye_is_drawn_at_its_average() -> None:
    # The dimmer's duty formula: level 5 of 15 is lit a third of the time.
    found = json.loads(ask("lamp_dimmer", "--run", "a third", "--json"))
    assert len(found["pictures"]) == 1
    assert found["pictures"][0]["brightness"][:7] == [pytest.approx(5 / 15, abs=0.002)] * 7
    assert found["flashes"] == {"in_a_second": 0, "line": "o0", "too_much": False}
    drawn = ask("lamp_dimmer", "--set", "i0=1", "--seconds", "1")
    assert "\n ▒▒▒\n▒   ▒\n ▒▒▒\n▒   ▒\n ▒▒▒  ░\nstep 0\n~~~~~~~~\n" in drawn
    assert (
        "░ up to a quarter, ▒ up to half\nEight levels: o7 first, ~ changes faster than the eye follows\n"
        in drawn
    )


def test_a_rhythm_is_drawn_once() -> None:
    drawn = ask("lighthouse", "--seconds", "30")
    assert "\nThen again as from 0.250000 s, every 5.000000 s, to the end at " in drawn
    found = json.loads(ask("lighthouse", "--seconds", "30", "--json"))
    assert found["repeats"] == {"first_picture": 1, "period": 3}


def test_more_pictures_on_request() -> None:
    assert "… and 2 more pictures to the end at 1.962 s." in ask(
        "tide_gauge", "--seconds", "1.5", "--pictures", "2"
    )


def test_a_run_of_the_datasheet() -> None:
    run = load_design("tide_gauge").runs[1]
    words = " ".join(ask("tide_gauge", "--run", run.name).split())
    assert f"Run: {run.name}. {'; '.join(run.do)}. Expected: {run.expect}." in words


def test_a_procedure_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "held.toml"
    file.write_text('do = ["restart", "steps 2", "set i0=1", "steps 3"]\nexpect = "it stands at 2"\n')
    found = json.loads(ask("tide_gauge", "--procedure", str(file), "--json"))
    assert found["do"][-4:] == ["restart", "steps 2", "set i0=1", "steps 3"]
    assert found["expect"] == "it stands at 2"
    words = " ".join(ask("tide_gauge", "--procedure", str(file)).split())
    assert "Run: held. restart; steps 2; set i0=1; steps 3. Expected: it stands at 2." in words
    file.write_text(f"do = {['wait 10 ms'] * 13}")
    assert "Run: held. " + "wait 0.01 s; " * 12 + "and 1 more action." in " ".join(
        ask("tide_gauge", "--procedure", str(file)).split()
    )
    # o0 to o6 of the digit 2 are a, b, d, e, g
    assert found["pictures"][-1]["brightness"] == [1, 1, 0, 1, 1, 0, 1, 1]


def test_an_empty_slot_is_an_answer() -> None:
    says = "Slot 5 of quay is empty: all eight outputs stay 0 whatever the inputs do, and the display stays dark."
    assert " ".join(ask("5").split()) == says
    assert json.loads(ask("5", "--json")) == {
        "schema": VERSION,
        "board": "quay",
        "slot": 5,
        "empty": True,
        "output_levels": "00000000",
        "says": says,
    }


BLINKER = """\
module blinker(input [7:0] inputs, output [7:0] outputs);
  reg [1:0] count;
  always @(posedge inputs[7]) if (inputs[6]) count[0] <= 0; else count[0] <= ~count[0];
  always @(posedge inputs[7]) count[1] <= ~count[1];
  assign outputs = {6'b0, count};
endmodule
"""


@pytest.fixture
def blinker(tmp_path: Path) -> str:
    source = tmp_path / "blinker.v"
    source.write_text(BLINKER)
    return str(source)


def test_a_bare_source_says_what_was_assumed(blinker: str) -> None:
    drawn = ask(blinker, "--hz", "2", "--seconds", "2")
    assert (
        "\nAssumed, as there is no datasheet:\n  ports: inputs and outputs, eight bits each, bit 0 is line 0\n"
        in drawn
    )
    assert "  step line: i7, as the board suggests\n" in drawn
    assert "blinker, tried on quay\n" in drawn


def test_unsettled_outputs_are_drawn_and_named(blinker: str) -> None:
    drawn = ask(blinker, "--hz", "2", "--seconds", "2")
    assert "\n·   ?     ·   ?     ·   ?\n" in drawn
    assert "? unsettled" in drawn
    assert (
        "\nUnsettled: o1 all the time.\n"
        "The restart does not settle the design: count (blinker.v:4) may still hold what\n"
        "it held before, and o1 shows it.\n"
        "In this run o1 is unsettled: 256 power-ups did not agree to the end, so the chip\nmay show either.\n"
    ) in drawn
    found = json.loads(ask(blinker, "--hz", "2", "--seconds", "2", "--json"))
    assert found["unsettled"] == ["o1"]
    assert {picture["brightness"][1] for picture in found["pictures"]} == {None}
    assert {picture["brightness"][0] for picture in found["pictures"]} == {0, 1}


def test_warnings_of_the_source_are_passed_on(tmp_path: Path) -> None:
    source = tmp_path / "loose.v"
    source.write_text(
        "module loose(input [7:0] inputs, output [7:0] outputs); wire w; assign outputs = {7'b0, w}; endmodule\n"
    )
    drawn = ask(str(source), "--seconds", "1")
    assert "\nWarnings from the source:\n  " in drawn
    assert json.loads(ask(str(source), "--seconds", "1", "--json"))["warnings"]


def test_flashing_is_cautioned_against() -> None:
    drawn = ask("lighthouse", "--set", "i3=1", "--set", "i2=1", "--hz", "30", "--seconds", "3")
    caution = f"Caution: o0 flashes 8 times in a second, and {DANGER}. Mind who is watching at the bench."
    assert " ".join(drawn.split()).count(caution) == 1


def test_a_board_with_a_direct_link() -> None:
    drawn = ask("tide_gauge", "--board", "mole", "--seconds", "1", "--hz", "4")
    assert drawn.startswith("Tide gauge, slot 57 of mole; from harbour office\n")
    said = (
        "Step clock on the board's own line: 4 Hz, setting of the step source 6249999; the author wants 2 Hz."
    )
    assert said in " ".join(drawn.split())
    assert json.loads(ask("11", "--board", "mole", "--json"))["name"] == "lighthouse"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["500"], "forelight: quay has no slot 500; its slots are 0 to 191"),
        (
            ["tide_gauge", "--strap", "1", "--hz", "2"],
            "forelight: --strap and --hz contradict each other; give one of them",
        ),
        (["tide_gauge", "--strap", "256"], "forelight: quay has no strap code 256"),
        (["watch_vote", "--hz", "2"], "forelight: the step clock of quay does not drive watch_vote"),
        (["tide_gauge", "--run", "none"], 'forelight: tide_gauge has no run "none"'),
        (["tide_gauge", "--procedure", "none.toml"], "forelight: none.toml"),
        (
            ["tide_gauge", "--run", "one tide", "--seconds", "1"],
            "forelight: --run or --procedure and --seconds contradict",
        ),
        (["nothing"], 'forelight: there is no design "nothing"'),
        (["nothing.v"], "forelight: nothing.v: no such file"),
        (["tide_gauge", "--set", "o1=1"], "Error: Invalid value for '--set': 'o1=1' does not fit"),
        (
            ["tide_gauge", "--set", "i1=1", "--set", "i1=0"],
            "Error: Invalid value for '--set': i1 is given both levels",
        ),
        (["tide_gauge", "--strap", "99999999999999"], "forelight: quay has no strap code 99999999999999"),
        (["tide_gauge", "--seconds", "1e7"], "10000000.0 is not in the range 0<x<=1000000."),
        (["lamp_dimmer", "--seconds", "1e6"], "forelight: the procedure comes to "),
        (["tide_gauge", "--speed", "1e-9"], "1e-09 is not in the range 0.001<=x<=1000."),
        (["tide_gauge", "--seconds", "inf"], "inf is not in the range 0<x<=1000000."),
        (["tide_gauge", "--seconds", "nan"], "nan is not a finite number."),
        (["tide_gauge", "--speed", "nan"], "nan is not a finite number."),
    ],
)
def test_what_cannot_be_shown(arguments: list[str], said: str) -> None:
    output = ask(*arguments, code=2)
    assert said in output
    assert "Traceback" not in output


def test_a_rate_that_the_board_has_not_is_the_nearest() -> None:
    drawn = ask("tide_gauge", "--hz", "61", "--seconds", "1")
    assert (
        "\nStep clock on i7: 60 Hz, strap code 24, the nearest to 61 Hz; the author wants 2\nHz.\n" in drawn
    )


def test_signals_of_the_source_are_watched() -> None:
    # The register behind the digit, and the digit's point, over the first steps of a tide.
    drawn = ask("tide_gauge", "--seconds", "8", "--watch", "level", "--watch", "rising")
    rows = {
        line.split("  ")[0]: line.split()[-1]
        for line in drawn.splitlines()
        if line.startswith(("level", "rising"))
    }
    assert rows == {"level": "01234567898765432", "rising": "▔" * 9 + "▁" * 8}
    found = json.loads(ask("tide_gauge", "--seconds", "8", "--watch", "level", "--json"))["watched"]["level"]
    assert found["width"] == 4
    assert [change["value"] for change in found["changes"]][-17:] == [*range(10), *range(8, 1, -1)]
    assert {change["unsettled_bits"] for change in found["changes"][1:]} == {0}
    assert 'tide_gauge has no signal "leval"; did you mean "level"?' in ask(
        "tide_gauge", "--watch", "leval", code=2
    )


def test_why_an_output_is_as_it_is() -> None:
    drawn = ask("tide_gauge", "--why", "o3", "--step", "12")
    assert (
        "\no3 is 1 at the end of step 12, by design.py:36:\n  level is 6, since step 12, 5.888 s, by design.py:"
        in drawn
    )
    assert "\n    i0 (hold) was 0, from the beginning on\n" in drawn
    assert max(map(len, ask("tide_gauge", "--why", "o3", columns=40).splitlines())) <= 40
    found = json.loads(ask("tide_gauge", "--why", "o3", "--step", "12", "--json"))
    (level,) = found["causes"]
    # Up to 9 and down again: 6 in step 12, 7 in the step before.
    assert (level["name"], level["value"], level["since_step"]) == ("level", 6, 12)
    assert [(one["name"], one["value"]) for one in level["causes"]][:2] == [("level", 7), ("rising", 0)]
    assert "the run has no step 500; its steps are 0 to " in ask(
        "tide_gauge", "--why", "o3", "--step", "500", code=2
    )
    assert "give both" in ask("tide_gauge", "--step", "5", code=2)


def test_what_depends_on_the_power_up_is_said_to() -> None:
    assert "woke up at 0; from others that woke up at 1 it is not the same" in " ".join(
        ask("free_counter", "--why", "o0", "--step", "3").split()
    )


def test_what_goes_otherwise_than_one_expects_is_said_first(tmp_path: Path) -> None:
    source = tmp_path / "odd.v"
    source.write_text(
        "module odd(input [7:0] inputs, output [7:0] outputs); reg [7:0] n;\n"
        "always @(posedge inputs[3]) n <= n + 1; assign outputs = n; endmodule\n"
    )
    (tmp_path / "datasheet.toml").write_text(
        'title = "Odd"\nsource = ["odd.v"]\nmodule = "odd"\n[step]\nline = "i3"\nwanted_hz = 2\n'
    )
    lines = ask(str(tmp_path)).splitlines()
    assert lines[1].startswith("Mind: ")
    assert "is stepped on i3, and the divider of quay drives i7" in " ".join(lines[1:3])
    lines = ask("swell_density").splitlines()
    assert lines[1] == "Mind: quay comes no nearer to 100 kHz, what the author wants, than 1500 Hz."
    procedure = tmp_path / "late.toml"
    procedure.write_text('do = ["wait 1 s", "strap 182", "steps 3"]\n')
    lines = ask("tide_gauge", "--procedure", str(procedure)).splitlines()
    assert lines[1] == "Mind: the step clock stays off until 'strap 182' in the procedure."
    assert json.loads(ask("swell_density", "--json"))["mind"] == [
        "quay comes no nearer to 100 kHz, what the author wants, than 1500 Hz."
    ]


def test_the_first_light_is_told_where_it_is_late(tmp_path: Path) -> None:
    source = tmp_path / "late.v"
    source.write_text(
        "module late(input [7:0] inputs, output [7:0] outputs); reg [15:0] n;\n"
        "always @(posedge inputs[7]) if (inputs[6]) n <= 0; else if (n < 60000) n <= n + 1;\n"
        "assign outputs = {8{n >= 1000}}; endmodule\n"
    )
    # 1000 steps of 300 a second are 3 1/3 s; on a chain the pins follow a frame later.
    found = json.loads(ask(str(source), "--hz", "300", "--json"))["first_light"]
    assert (found["step"], found["within_the_run"]) == (1000, True)
    assert found["time_s"] == pytest.approx(1000 / 300, abs=0.002)
    found = json.loads(ask(str(source), "--hz", "300", "--seconds", "1", "--json"))["first_light"]
    assert (found["step"], found["within_the_run"]) == (1000, False)
    assert found["time_s"] == pytest.approx(1000 / 300, abs=0.004)
    assert "First light: 3.33" in ask(str(source), "--hz", "300", "--seconds", "1")
    assert json.loads(ask("tide_gauge", "--json"))["first_light"] is None


def test_a_blend_is_told_and_how_to_read_it() -> None:
    drawn = " ".join(ask("tide_gauge", "--hz", "300").split())
    assert "To the eye: flickering: the shortest picture stays" in drawn
    offered = json.loads(ask("tide_gauge", "--hz", "300", "--json"))["eye"]["readable"]
    at = json.loads(ask("tide_gauge", "--strap", str(offered["strap_code"]), "--json"))
    assert at["eye"]["whole"]["kind"] == "readable"
    assert at["step_hz"] == offered["hz"] <= 1 / 0.23
    assert f"take strap code {offered['strap_code']}, " in drawn


def test_the_pace_of_a_hand_is_said_and_set(tmp_path: Path) -> None:
    """On a board whose divider drives another line, every step is made by hand: twice a second, or as asked for."""
    board = tmp_path / "elsewhere.toml"
    write_board(replace(load_board("quay"), step_line="i5"), board)
    told = ask("tide_gauge", "--board", str(board))
    assert "Steps by hand: 2 in a second, the pace of a hand; --hz 5 sets another." in told
    answer = json.loads(ask("tide_gauge", "--board", str(board), "--json"))
    assert answer["pictures"][1]["time_s"] - answer["pictures"][0]["time_s"] == pytest.approx(0.5, abs=0.01)
    assert answer["end_s"] == pytest.approx(10, abs=0.01)
    faster = json.loads(ask("tide_gauge", "--board", str(board), "--hz", "5", "--json"))
    assert faster["pictures"][2]["time_s"] - faster["pictures"][1]["time_s"] == pytest.approx(0.2, abs=0.01)
    assert ask("tide_gauge", "--board", str(board), "--strap", "5", code=2)
