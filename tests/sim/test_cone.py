"""Why a net is as it is: against trees of gates whose leaves are turned over one by one, and runs step by step."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest
from forelight.designs.sources.source import read
from forelight.sim.cone import Cause, Cones
from forelight.sim.netlist import Cell, Netlist, Slice, Word
from forelight.sim.reference import Reference
from forelight.sim.simulation import Simulation

GATES = ("$and", "$or", "$xor", "$xnor", "$mux", "$eq", "$add")


def tree(chance: random.Random, leaves: int) -> Netlist:
    """Every leaf and every gate is read once, so what one leaf does to the output goes one way."""
    widths, cells = [leaves], []
    waiting = [Word((Slice(0, bit, 1),)) for bit in range(leaves)]
    while len(waiting) > 1:
        kind = chance.choice(GATES) if len(waiting) > 2 else "$xor"
        count = 3 if kind == "$mux" else 2
        operands = tuple(waiting.pop(chance.randrange(len(waiting))) for _ in range(count))
        params = {} if kind == "$mux" else {"A_SIGNED": 0, "B_SIGNED": 0}
        cells.append(Cell(kind, len(widths), operands, params, src=f"tree.v:{len(widths)}.1-2"))
        waiting.append(Word.value(len(widths), 1))
        widths.append(1)
    return Netlist("tree", tuple(widths), {"inputs": 0}, {"outputs": waiting[0]}, tuple(cells), (), ())


@pytest.mark.parametrize("seed", range(40))
def test_every_leaf_of_a_tree_that_decides_counts(seed: int) -> None:
    chance = random.Random(seed)
    netlist = tree(chance, chance.randrange(2, 24))
    width = netlist.widths[0]
    values = np.array([chance.getrandbits(width)], np.uint32)
    reference = Reference(netlist)

    def shown(inputs: int) -> int:
        reference.set("inputs", inputs)
        reference.settle()
        return reference.get("outputs")

    now = shown(int(values[0]))
    decides = {bit for bit in range(width) if shown(int(values[0]) ^ 1 << bit) != now}
    found = Cones(Simulation(netlist), "inputs", values).why(netlist.outputs["outputs"], 0)
    counted = {cause.low for cause in found.causes}
    assert (found.value, found.alike) == (now, True)
    assert decides <= counted
    for cause in found.causes:
        assert (cause.kind, cause.value) == ("input", int(values[0]) >> cause.low & 1)
    # No one leaf decides, or none is named that does not, but where a gate has two equal grounds.
    if counted != decides:
        assert any(cell.kind in ("$and", "$or", "$mux", "$eq") for cell in netlist.cells)


COUNTER = """\
module counter(input [7:0] inputs, output [7:0] outputs);
  wire step = inputs[7], restart = inputs[6], hold = inputs[0];
  reg [3:0] count;
  reg seen;
  always @(posedge step)
    if (restart) count <= 0;
    else if (!hold)
      count <= count + 1;
  always @(posedge step or posedge restart)
    if (restart) seen <= 0;
    else if (count == 5) seen <= 1;
  assign outputs = {seen, 3'b0, count};
endmodule
"""


def by_name(causes: tuple[Cause, ...]) -> dict[str, Cause]:
    return {cause.name if cause.kind != "input" else f"{cause.name}[{cause.low}]": cause for cause in causes}


def test_registers_lead_back_to_the_steps_that_made_them(tmp_path: Path) -> None:
    (tmp_path / "counter.v").write_text(COUNTER)
    netlist = read(tmp_path / "counter.v")
    steps = [0x40, 0xC0, 0x40, 0] + [0x80, 0] * 9 + [0x01] + [0x81, 0x01] * 4
    rows = np.array(steps, np.uint8)
    cones = Cones(Simulation(netlist), "inputs", rows)
    last = len(rows) - 1
    # Nine steps made nine of it; it has held since.
    found = cones.why(netlist.outputs["outputs"].cut(0, 4), last, 2)
    assert (found.value, found.alike) == (9, True)
    count = by_name(found.causes)["count"]
    assert (count.value, count.moved) == (9, 4 + 2 * 8)
    assert "counter.v:8" in count.places
    assert by_name(count.causes)["count"].value == 8
    assert by_name(count.causes)["inputs[0]"].value == 0
    # An asynchronous restart forces its register, whatever it woke up as.
    early = by_name(cones.why(netlist.outputs["outputs"].bit(7), 3, 2).causes)["seen"]
    assert (early.value, early.moved) == (0, 0)
    assert by_name(early.causes)["inputs[6]"].value == 1
    late = by_name(cones.why(netlist.outputs["outputs"].bit(7), last, 2).causes)["seen"]
    assert (late.value, late.moved) == (1, 4 + 2 * 5)
    assert by_name(late.causes)["count"].value == 5
    # Before the restart it is as it woke up.
    assert (
        not Cones(Simulation(netlist), "inputs", np.array([0], np.uint8))
        .why(netlist.outputs["outputs"], 0)
        .alike
    )
