"""A loop that runs free: what it reaches is unsettled, the rest is foretold as without it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.designs.sheets.bare import bare
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.cli import cli
from forelight.harness.golden.golden import Golden
from forelight.harness.golden.read import read_golden
from forelight.harness.golden.write import write_golden

QUAY = load_board("quay")
#: A ring of one gate that i0 lets run, read by a register, which a second register does not need.
RINGS = """\
module rings(input [7:0] inputs, output [7:0] outputs);
  wire a = ~(inputs[0] & a);
  wire b = ~(inputs[1] & b);
  reg caught, count;
  always @(posedge inputs[7])
    if (inputs[6]) {caught, count} <= 0;
    else begin caught <= a; count <= ~count; end
  assign outputs = {inputs[2] & caught, 1'b0, b, inputs[3], count, caught, a ^ inputs[2], a};
endmodule
"""
REACHED_BY_A, REACHED_BY_B = 0b1000_0111, 0b0010_0000


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rings.v").write_text(RINGS)
    return tmp_path


def foretold(*texts: str) -> Golden:
    sheet = bare(Path("rings.v"), None, "i7", "i6")
    before = ["select 5", "strap 0", "restart"]
    return predict(QUAY, sheet, Procedure("test", parse([*before, *texts])), slot=5, power_ups=8)


@pytest.mark.parametrize(
    ("run", "unsettled", "loops"),
    [
        ("set i4=1", 0, 0),
        ("set i0=1", REACHED_BY_A, 1),
        ("set i1=1", REACHED_BY_B, 1),
        ("set i0=1 i1=1", REACHED_BY_A | REACHED_BY_B, 2),
    ],
)
def test_only_what_the_loop_reaches_is_unsettled(run: str, unsettled: int, loops: int) -> None:
    calm, found = foretold("set i4=1", "set i3=1", "steps 40"), foretold(run, "set i3=1", "steps 40")
    assert len(found.loops) == loops
    assert int(found.settled[-1]) == 0xFF & ~unsettled
    assert int((found.settled & np.uint8(unsettled)).max()) == 0, (
        "from the start, as the loop may run at any time"
    )
    rest = np.uint8(0xFF & ~unsettled)
    # The other outputs go through the same levels in the same order.
    assert levels(found, rest) == levels(calm, rest)


def levels(golden: Golden, mask: np.uint8) -> list[int]:
    shown = (golden.outputs & mask)[(golden.settled & mask) == mask]
    return [int(level) for index, level in enumerate(shown) if index == 0 or level != shown[index - 1]]


def test_a_golden_keeps_it(folder: Path) -> None:
    found = foretold("set i0=1", "steps 4")
    write_golden(found, folder / "free.csv")
    again = read_golden(folder / "free.csv")
    assert np.array_equal(again.settled, found.settled)
    assert "a" in str(again.facts["free_running"])


def test_show_warns_and_goes_on() -> None:
    plain = CliRunner().invoke(cli, ["show", "inverter_ring", "--set", "i0=1"])
    assert plain.exit_code == 0, plain.output
    assert "Warning: a loop of 5 gates runs free: " in plain.stdout and "design.v:" in plain.stdout
    assert "Say --gate-delay 0.1ns..2ns" in plain.stdout
    assert "Unsettled: o0 to o4 all the time." in plain.stdout
    timed = CliRunner().invoke(
        cli, ["show", "inverter_ring", "--set", "i0=1", "--gate-delay", "1ns .. 2ns", "--json"]
    )
    (loop,) = json.loads(timed.stdout)["free_running"]
    # A change goes twice round five gates in a period: 1 / (2 * 5 * 2 ns) and 1 / (2 * 5 * 1 ns).
    assert loop["range_hz"] == pytest.approx({"least": 50e6, "most": 100e6})
    for wrong in ("5..2ns", "2ns..1ns", "0ns..1ns", "1.2.3ns..4ns"):
        assert CliRunner().invoke(cli, ["show", "inverter_ring", "--gate-delay", wrong]).exit_code == 2


def test_the_run_of_the_ring() -> None:
    sheet = load_design("inverter_ring")
    run = next(run for run in sheet.runs if run.name == "let go")
    golden = predict(QUAY, sheet, Procedure(run.name, parse(run.do)), slot=186, power_ups=4)
    assert int(golden.settled[-1]) == 0b1110_0000 and int(golden.outputs[-1]) == 0b1000_0000
