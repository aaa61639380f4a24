"""Contributions with one thing wrong each: `vet` names it, and says whether it must be put right."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.designs.catalogue import load_design, names
from forelight.designs.sheets.reader import load
from forelight.harness.bench.settling import Settling
from forelight.harness.boards.reader import load_board
from forelight.harness.cli import cli
from forelight.harness.commands.vet import answer, paragraphs
from forelight.harness.vet.tried import tried
from forelight.harness.vet.vetting import Vetting, vet

SHEET = """\
title = "Mooring lamp"
creator = "sailing school"
license = "MIT"
description = "Counts the steps while i0 is on."
source = ["design.v"]
module = "lamp"
[step]
line = "i7"
wanted_hz = 2
[restart]
line = "i6"
[lines]
i0 = { means = "go", idle = 0 }
o0 = { means = "odd" }
[[run]]
name = "count"
do = ["restart", "set i0=1", "steps 6"]
expect = "up to 5"
"""
HEAD = """\
module lamp(input [7:0] inputs, output [7:0] outputs);
  wire step = inputs[7], restart = inputs[6], go = inputs[0];
"""
COUNT = (
    "  reg [7:0] count;\n  always @(posedge step) if (restart) count <= 0; else if (go) count <= count + 1;\n"
)
SHOWN = "  assign outputs = count;\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "lamp").mkdir()
    monkeypatch.chdir(tmp_path)
    return Path("lamp")


def vetted(folder: Path, body: str = COUNT + SHOWN, sheet: str = SHEET, board: str = "quay") -> Vetting:
    (folder / "datasheet.toml").write_text(sheet)
    (folder / "design.v").write_text(f"{HEAD}{body}endmodule\n")
    return vet(folder, load_board(board), power_ups=16)


def said(found: Vetting, *, must: bool) -> list[str]:
    return [str(finding) for finding in found.findings if finding.must == must]


def test_nothing_wrong(folder: Path) -> None:
    found = vetted(folder)
    assert found.accepted and found.findings == () and (found.name, found.title) == ("lamp", "Mooring lamp")


#: What the design does, what of the datasheet is written otherwise, and the one sentence that must be put right.
WRONG = {
    "input unused": (
        "  reg [7:0] count;\n  always @(posedge step) if (restart) count <= 0; else count <= count + 1;\n" + SHOWN,
        (),
        "unused input: nothing in the design depends on i0 (go)",
    ),
    "input read only by what nothing shows": (
        "  reg [7:0] count, lost;\n  always @(posedge step) begin lost <= lost + go;\n"
        "    if (restart) count <= 0; else count <= count + 1; end\n" + SHOWN,
        (),
        "unused input: nothing in the design depends on i0 (go)",
    ),
    "input not described": (
        COUNT + "  assign outputs = count ^ inputs[3];\n",
        (),
        "the design uses i3: say what it means in [lines] of the datasheet",
    ),
    "output not driven": (
        COUNT + "  assign outputs[6:0] = count;\n",
        (),
        "output never driven: nothing gives o7 a level; assign it, 0 if unused",
    ),
    "output that is always the same": (
        COUNT + "  assign outputs = {1'b1, count[6:0]};\n",
        ('o0 = { means = "odd" }', 'o7 = { means = "alarm" }'),
        "o7 (alarm) is always 1",
    ),
    "step line unused": (
        "  assign outputs = {8{go ^ restart}};\n",
        (),
        "nothing in the design depends on the step line: use it, or leave [step] out",
    ),
    "restart unused": (
        "  reg [7:0] count;\n  always @(posedge step) if (go) count <= 1; else count <= 2;\n" + SHOWN,
        (),
        "nothing in the design depends on the restart line: use it, or leave [restart] out",
    ),
    "restart that leaves a register out": (
        "  reg [7:0] count;\n"
        "  always @(posedge step) if (restart) count[6:0] <= 0; else if (go) count <= count + 1;\n" + SHOWN,
        (),
        "The restart does not settle the design: count (design.v:4) may still hold what it held before, and o7 shows "
        "it; set every register, or say why not",
    ),
    "no licence": (
        COUNT + SHOWN,
        ('license = "MIT"\n', ""),
        "datasheet.toml: the datasheet gives no license: add license = ...",
    ),
    "no run": (
        COUNT + SHOWN,
        (SHEET[SHEET.index("[[run]]") :], ""),
        "datasheet.toml: there is no [[run]]: give one with a name, do and expect",
    ),
    "a run without its outcome": (
        COUNT + SHOWN,
        ('expect = "up to 5"\n', ""),
        'datasheet.toml: run "count" does not say what to expect: add expect = ...',
    ),
    "a mark": (
        COUNT + SHOWN,
        ("Counts the steps while i0 is on.", "FILL IN: what it shows"),
        "datasheet.toml:4: still to be filled in: what it shows",
    ),
    "a run with a button where there is none": (
        COUNT + SHOWN,
        ('"set i0=1"', '"press i3"'),
        'lamp/datasheet.toml:17: run "count", action 2: "press i3": no button sits on i3; '
        "lines with buttons: i0, i6, i7; or use set",
    ),
    "datasheet that cannot be read": (
        COUNT + SHOWN,
        ("wanted_hz = 2", 'wanted_hz = "two"'),
        'lamp/datasheet.toml:9: step.wanted_hz: "two" does not fit; allowed: a rate in Hz',
    ),
    "source that cannot be read": (COUNT + "  oops\n", (), "design.v:6: Yosys: syntax error"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_what_must_be_put_right(folder: Path, case: str) -> None:
    body, change, sentence = WRONG[case]
    sheet = SHEET
    if change:
        assert change[0] in sheet
        sheet = sheet.replace(change[0], change[1])
    found = vetted(folder, body, sheet)
    assert not found.accepted
    assert any(line.startswith(sentence) for line in said(found, must=True)), said(found, must=True)


#: The same for what is worth knowing.
KNOWN = {
    "latch": (
        COUNT + "  reg held;\n  always @* if (restart) held = 0; else if (go) held = count[0];\n"
        "  assign outputs = {held, count[6:0]};\n",
        (),
        "design.v:6.3-6.65: latch inferred for held: if none is meant, give it a value in every case",
    ),
    "clock from logic": (
        "  reg [7:0] count;\n  wire gated = step & go;\n"
        "  always @(posedge gated or posedge restart) if (restart) count <= 0; else count <= count + 1;\n" + SHOWN,
        (),
        "design.v:4.16-4.25: a clock that can glitch: logic of several signals clocks count; use an enable instead",
    ),
    "clock as data": (
        COUNT + "  assign outputs = {step, count[6:0]};\n",
        (),
        "clock used as data: what clocks count is also read by logic or shown",
    ),
    "loop": (
        COUNT + "  wire q, n;\n  assign q = ~(restart | n), n = ~(go | q);\n  assign outputs = {q, count[6:0]};\n",
        (),
        "design.v:6.14-6.28: logic feeds back into itself through 4 cells without a clock",
    ),
    "no rate": (COUNT + SHOWN, ("wanted_hz = 2\n", ""), "datasheet.toml: the datasheet does not say at which rate"),
    "too fast for the board": (
        COUNT + SHOWN,
        ("wanted_hz = 2", "wanted_hz = 1000000"),
        "slower than wanted: 1e+06 Hz is asked for, and quay comes no nearer than 1500 Hz",
    ),
    "flashes": (
        COUNT + SHOWN,
        ("wanted_hz = 2", "wanted_hz = 15"),
        'datasheet.toml: run "count": o0 flashes 7.5 times in a second',
    ),
    "race": (
        "  reg one, two;\n  always @(posedge step) if (restart) {one, two} <= 0; else {one, two} <= {2{go}};\n"
        "  assign outputs = {6'd0, one, one ^ two};\n",
        ('"steps 6"', '"steps 6", "disable", "set i0=0", "set i0=1 i7=1"'),
        'datasheet.toml: run "count": i0 and i7 move in one update at step 10, and what o1 shows then depends on which',
    ),
    "race that only the proof suspects": (
        "  reg one, two;\n  always @(posedge step) if (restart) {one, two} <= 0; else {one, two} <= {2{go}};\n"
        "  assign outputs = {6'd0, one, one ^ two};\n",
        ('"steps 6"', '"steps 6", "disable", "set i0=0", "set i0=1 i7=1"'),
        'datasheet.toml: run "count": i0 and i7 move in one update at step 10, and which is first may decide what o0',
    ),
    "nothing changes": (
        COUNT + SHOWN,
        ('"set i0=1", ', ""),
        'datasheet.toml: run "count": no output changes in it',
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", KNOWN)
def test_what_is_worth_knowing(folder: Path, case: str) -> None:
    body, change, sentence = KNOWN[case]
    sheet = SHEET.replace(change[0], change[1]) if change else SHEET
    if case == "flashes":
        sheet = sheet.replace("steps 6", "steps 60")
    found = vetted(folder, body, sheet)
    assert any(line.startswith(sentence) for line in said(found, must=False)), found.findings
    assert found.accepted


def test_without_a_restart_line(folder: Path) -> None:
    sheet = SHEET.replace('[restart]\nline = "i6"\n', "").replace('"restart", ', "")
    body = "  reg [7:0] count;\n  always @(posedge step) if (go) count <= count + 1;\n" + SHOWN
    found = vetted(folder, body, sheet)
    assert found.accepted
    assert any("there is no restart, and after 1000 steps o0" in line for line in said(found, must=False))


def test_whether_and_when_the_restart_settles_is_said(folder: Path) -> None:
    settles = (
        "The restart settles the whole design, 1 step after it begins: proved from any state, at any rate."
    )
    found = vetted(folder)
    assert [str(line) for line in paragraphs(found)] == ["Mooring lamp, lamp", settles, "Accepted."]
    assert paragraphs(found, brief=True) == []
    assert answer(found)["settling"] == vars(settling(found))
    assert (settling(found).steps, settling(found).never) == (1, ())
    found = vetted(folder, COUNT.replace("count <= 0", "count[6:0] <= 0") + SHOWN)
    assert (settling(found).steps, settling(found).never) == (None, ("o7",))
    assert not any("settles" in str(line) for line in paragraphs(found))
    assert found.restarting is not None and answer(found)["restarting"] == found.restarting.answer()


def test_a_latch_without_a_restart_is_left_to_the_power_up(folder: Path) -> None:
    sheet = SHEET.replace('[restart]\nline = "i6"\n', "").replace('[step]\nline = "i7"\nwanted_hz = 2\n', "")
    sheet = sheet.replace('"restart", "set i0=1", "steps 6"', '"set i0=1", "wait 1 s", "set i0=0"')
    found = vetted(
        folder, "  reg held;\n  always @* if (go) held = step;\n  assign outputs = {8{held}};\n", sheet
    )
    assert any(
        line.startswith("there is no restart, and after a second o0, o1") for line in said(found, must=False)
    )


def settling(found: Vetting) -> Settling:
    assert found.look is not None
    return found.look.settling


def test_the_catalogue_is_accepted() -> None:
    board = load_board("quay")
    for name in ("lighthouse", "ripple_clock", "hex_segments"):
        assert name in names() and vet(load_design(name).folder, board, power_ups=8).accepted, name


def test_its_runs_are_said_to_try_so_much(folder: Path) -> None:
    sheet = SHEET + '[[run]]\nname = "held"\ndo = ["restart", "steps 3"]\nexpect = "0"\n'
    found = vetted(folder, sheet=sheet)
    one = tried(load(folder), load_board("quay"), found.carried)
    count, held = one.runs["count"], one.runs["held"]
    assert one.together is not None and held.revealed < count.revealed <= one.together.revealed
    # Held at 0, each output shows that it is not stuck at 1, and nothing shows a line stuck at 0.
    assert not any(line.line in {f"o{n}" for n in range(8)} and line.stuck for line in held.missed)
    assert {f"o{n} stuck at 0" for n in range(3, 8)} <= set(map(str, one.together.missed))
    text = " ".join(" ".join(map(str, paragraphs(found, one))).split())
    assert f"Its 2 runs together would reveal {one.together.revealed} of {one.together.possible} (" in text
    assert "design.v:" in text and f'Each by itself: "count" {count.revealed} of ' in text


def test_where_nothing_can_be_tried_the_reason_is_said(folder: Path) -> None:
    body = "  reg [7:0] kept [0:1023];\n  always @(posedge step) kept[{2'b0, inputs[5:0]}] <= inputs;\n"
    found = vetted(folder, body + "  assign outputs = kept[inputs];\n")
    one = tried(load(folder), load_board("quay"), found.carried)
    assert one.together is None
    assert "cannot be said: memory" in " ".join(map(str, paragraphs(found, one)))


def test_a_run_may_play_a_recording_and_a_slot_may_be_named_by_its_number(tmp_path: Path) -> None:
    home = tmp_path / "hex_segments"
    shutil.copytree(load_design("hex_segments").folder, home)
    (home / "hands.csv").write_text("time_s,i0\n0,0\n1,1\n2,1\n")
    text = (home / "datasheet.toml").read_text("utf-8")
    text += '\n[[run]]\nname = "as recorded"\ndo = ["play hands.csv", "wait 1 s"]\nexpect = "1"\nshows = ["0", "1"]\n'
    (home / "datasheet.toml").write_text(text, encoding="utf-8")
    found = vet(home, load_board("quay"), 16, 0)
    assert found.accepted, found.findings
    empty = CliRunner().invoke(cli, ["vet", "1"])
    assert empty.exit_code == 2
    assert "slot 1 of quay is empty" in empty.stderr + str(empty.exception)


def test_what_the_source_leaves_open_in_a_run_is_worth_knowing(folder: Path) -> None:
    found = vetted(folder, COUNT + "  assign outputs = 8'd200 / (8'd4 - count);\n")
    left_open = "the source leaves open what outputs show: division by zero at step "
    assert any(left_open in line for line in said(found, must=False))


def test_an_output_that_nothing_drives_is_not_blamed_on_the_restart(folder: Path) -> None:
    found = vetted(folder, COUNT + "  wire loose;\n  assign outputs = {loose, count[6:0]};\n")
    lines = said(found, must=True)
    assert any(
        "outputs that do not settle: 1000 steps after the restart o7 may still show either level" in line
        for line in lines
    )
    assert not any("restart that does not settle" in line for line in lines)
