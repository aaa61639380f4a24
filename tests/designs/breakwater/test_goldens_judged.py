"""The kept goldens before judges from outside: Icarus Verilog and `amaranth.sim`, given each golden's own inputs.

A golden is not judged by its writer: the design's source goes to the other simulator as it stands, every instant at
which the golden's inputs change is one update there, and each settled bit that the judge knows must be what it shows.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from amaranth.sim import Simulator
from forelight.designs.catalogue import load_design, names
from forelight.designs.datasheet import Datasheet
from forelight.harness.bench.kept import FOLDER
from forelight.harness.chip.wrapper import Wrapper
from forelight.harness.golden.golden import Golden
from forelight.harness.golden.read import read_golden
from numpy.typing import NDArray

from ...sim.icarus import needs_icarus, run

Bytes = NDArray[np.uint8]
#: Assignments that the clock passes, more than any data path of the designs: see `Wrapper`.
STAGES = 12
#: Loops without a stable state, which Icarus never leaves.
RUNS_FREE = {"inverter_ring"}

SHEETS = [load_design(name) for name in names()]
VERILOG = [sheet.name for sheet in SHEETS if sheet.format == "verilog" and sheet.name not in RUNS_FREE]
AMARANTH = [sheet.name for sheet in SHEETS if sheet.format == "amaranth"]


def test_every_design_has_a_judge() -> None:
    assert {*VERILOG, *AMARANTH, *RUNS_FREE} == {sheet.name for sheet in SHEETS}


def kept(sheet: Datasheet) -> list[Path]:
    return sorted((sheet.folder / FOLDER).glob("*.csv"))


def compare(golden: Golden, shown: Bytes, known: Bytes) -> int:
    """How many settled bits the judge knew; `shown` is what it showed after each change of the inputs."""
    instants = golden.ticks[changes(golden)]
    latest = np.searchsorted(instants, golden.ticks - int(golden.facts["latency_ticks"]), side="right") - 1
    judged = np.where(latest < 0, np.uint8(0), known[np.maximum(latest, 0)]) & golden.settled
    wrong = (shown[np.maximum(latest, 0)] ^ golden.outputs) & judged
    rows = np.flatnonzero(wrong)
    assert not len(rows), (
        f"{len(rows)} rows, first at tick {golden.ticks[rows[0]]}, step {golden.steps[rows[0]]}: "
        f"{golden.outputs[rows[0]]:08b} foretold, {shown[latest[rows[0]]]:08b} shown"
    )
    return int(np.unpackbits(judged).sum())


def changes(golden: Golden) -> NDArray[np.bool_]:
    """The rows in which the inputs change, the first of all among them."""
    return np.concatenate(([True], golden.inputs[1:] != golden.inputs[:-1]))


BENCH = """
module judge;
  reg [7:0] rows [0:{last}];
  reg [7:0] inputs;
  wire [7:0] outputs;
  integer row;
  {top} judged(.inputs(inputs), .outputs(outputs));
  initial begin
    $readmemh("rows.hex", rows);
    for (row = 0; row <= {last}; row = row + 1) begin
      inputs = rows[row];
      #1000 $display("%b", outputs);
    end
    $finish;
  end
endmodule
"""


@needs_icarus
@pytest.mark.parametrize("name", VERILOG)
def test_verilog_before_icarus(name: str, tmp_path: Path) -> None:
    sheet = load_design(name)
    settled = judged = 0
    for path in kept(sheet):
        golden = read_golden(path)
        inputs = golden.inputs[changes(golden)]
        (tmp_path / "rows.hex").write_text("\n".join(f"{row:02x}" for row in inputs))
        bench = tmp_path / "judge.v"
        bench.write_text(BENCH.format(last=len(inputs) - 1, top=sheet.top or sheet.name))
        sources = [sheet.folder / source for source in sheet.sources]
        printed = run([bench, *sources], "judge", tmp_path, include=[sheet.folder], standard="2005")
        lines = printed.split()
        shown = np.array([int("".join("01"[c == "1"] for c in line), 2) for line in lines], np.uint8)
        known = np.array([int("".join("10"[c in "xz"] for c in line), 2) for line in lines], np.uint8)
        settled += int(np.unpackbits(golden.settled).sum())
        judged += compare(golden, shown, known)
    print(f"{judged} of {settled} settled bits are known to Icarus")
    assert judged > settled / 2 or not settled


@pytest.mark.parametrize("name", AMARANTH)
def test_amaranth_before_its_own_simulator(name: str) -> None:
    sheet = load_design(name)
    for path in kept(sheet):
        golden = read_golden(path)
        inputs = golden.inputs[changes(golden)]
        wrapper = Wrapper(sheet, clock_stages=STAGES)
        shown = np.empty(len(inputs), np.uint8)

        async def play(
            context: Any, wrapper: Any = wrapper, rows: Bytes = inputs, shown: Bytes = shown
        ) -> None:
            for row, value in enumerate(rows):
                context.set(wrapper.inputs, int(value))
                await context.delay(1e-6)
                shown[row] = context.get(wrapper.outputs)

        simulator = Simulator(wrapper)
        simulator.add_testbench(play)
        simulator.run()
        assert compare(golden, shown, np.full_like(shown, 0xFF))
