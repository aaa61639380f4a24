"""What a datasheet says of a run in a form that a machine can check: true is accepted, anything else rejected."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs.catalogue import load_design, names
from forelight.designs.datasheet import Expectations
from forelight.designs.sheets.reader import load
from forelight.harness.boards.reader import load_board
from forelight.harness.vet.expectations import in_words
from forelight.harness.vet.vetting import vet
from forelight.sim.errors import DatasheetError

SHEET = """\
title = "Mooring lamp"
creator = "sailing school"
license = "MIT"
description = "Counts the steps while i0 is on."
source = ["design.v"]
module = "lamp"
[step]
line = "i7"
wanted_hz = 50
[restart]
line = "i6"
[lines]
i0 = { means = "go", idle = 0 }
o0 = { means = "odd" }
[[attach]]
kind = "serial terminal"
lines = { receive = "o0" }
options = { baud = 50 }
[[run]]
name = "count"
do = ["restart", "set i0=1", "steps 20"]
expect = "up and up"
"""
#: A counter of three bits, which needs no simulation to be foretold; the point is its fourth.
VERILOG = """\
module lamp(input [7:0] inputs, output [7:0] outputs);
  reg [3:0] count;
  always @(posedge inputs[7]) if (inputs[6]) count <= 0; else if (inputs[0]) count <= count + 1;
  assign outputs = {count[3], 4'b0, count[2:0]};
endmodule
"""


def rejected(folder: Path, expectation: str) -> list[str]:
    (folder / "datasheet.toml").write_text(SHEET + expectation + "\n")
    (folder / "design.v").write_text(VERILOG)
    found = vet(folder, load_board("quay"), power_ups=4)
    assert found.accepted == (not any(finding.must for finding in found.findings))
    return [str(finding) for finding in found.findings if finding.must]


@pytest.mark.parametrize(
    "expectation",
    [
        # Bits 0 to 2 of a binary count on a, b and c; blank, 1 (b and c) and 7 (a, b and c) are counts 0, 6 and 7.
        'shows = ["blank", "00000001", "00000010", "?", "00000100", "?", "1", "7", "10000000"]',
        'shows = { 6 = "1", 7 = "7", 14 = "1.", 15 = "7.", 16 = "blank" }',
        "period = 16",
        # The count's lowest bit is at 1 for every other step.
        "duty = { o0 = 0.5 }",
    ],
)
def test_what_comes_true_is_accepted(tmp_path: Path, expectation: str) -> None:
    assert rejected(tmp_path, expectation) == []


@pytest.mark.parametrize(
    ("expectation", "said"),
    [
        ('shows = { 6 = "7" }', 'at the end of step 6 it is "1" (00000110), not "7" (00?00111)'),
        ('shows = { 6 = "1." }', 'at the end of step 6 it is "1" (00000110), not "1." (10000110)'),
        ('shows = { 21 = "1" }', "the run has no step 21: its last one is 20"),
        ('shows = ["K"]', "'K' is nothing that seven segments show"),
        ("period = 8", "it does not repeat itself after 8 steps"),
        ("period = 32", "it repeats itself every 16 steps already, not only every 32"),
        ("duty = { o0 = 0.499 }", "o0 is at 1 for 0.5000 of the time over"),
        ('sends = "AHOY"', "in which 'AHOY' is not"),
    ],
)
def test_what_does_not_come_true_is_rejected_at_its_line(tmp_path: Path, expectation: str, said: str) -> None:
    (found,) = rejected(tmp_path, expectation)
    assert "datasheet.toml:23" in found and 'run "count"' in found
    assert said in found


@pytest.mark.parametrize(
    ("expectation", "said"),
    [
        ("shows = []", "an array of one or more texts"),
        ('shows = { one = "1" }', "is no step"),
        ("period = 0", "a whole number from 1"),
        ("duty = { o9 = 0.5 }", "no such key"),
        ("duty = { o0 = 2 }", "a number from 0 to 1"),
        ("duty = {}", "has nothing in it"),
        ('sends = ""', "a text of 1 to"),
        ('show = ["1"]', 'did you mean "shows"?'),
    ],
)
def test_what_cannot_be_meant_is_refused_where_it_is_read(
    tmp_path: Path, expectation: str, said: str
) -> None:
    (tmp_path / "datasheet.toml").write_text(SHEET + expectation + "\n")
    (tmp_path / "design.v").write_text(VERILOG)
    with pytest.raises(DatasheetError, match=r"datasheet\.toml:2") as error:
        load(tmp_path)
    assert said in str(error.value)


def test_a_serial_terminal_must_be_there_for_what_is_sent(tmp_path: Path) -> None:
    bare = SHEET.replace(SHEET[SHEET.index("[[attach]]") : SHEET.index("[[run]]")], "")
    (tmp_path / "datasheet.toml").write_text(bare + 'sends = "A"\n')
    (tmp_path / "design.v").write_text(VERILOG)
    found = vet(tmp_path, load_board("quay"), power_ups=4)
    assert any(
        "no serial terminal is wired to it" in str(finding) for finding in found.findings if finding.must
    )


def test_the_catalogue_says_much_that_is_checked() -> None:
    said = [run.expectations for name in names() for run in load_design(name).runs]
    assert sum(one != Expectations() for one in said) >= 45
    assert {key for one in said for key in one.places} == {"shows", "period", "duty", "sends"}


def test_in_words_they_name_each_step() -> None:
    said = Expectations({0: "0.", 1: "1.", 9: "9"}, period=18, duty={"o3": 0.333}, sends="AHOY")
    assert list(in_words(said, stepped=True)) == [
        "At the end of steps 0 to 1: 0. 1.; step 9: 9",
        "Repeats itself every 18 steps.",
        "o3 is at 1 for 0.333 of the time.",
        "Sends 'AHOY'.",
    ]
