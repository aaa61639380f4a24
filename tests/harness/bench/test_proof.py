"""What is proved of a run: logic, loops, what is undefined, and state once a restart has made it known."""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

from pathlib import Path

import numpy as np
from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from forelight.designs.catalogue import load_design
from forelight.designs.sheets.bare import bare
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.hand.routine import default_procedure
from forelight.sim.rtlil.reader import parse

from .setups import sheet
from .whole_runs import prove, racing


class Half(wiring.Component):
    """The low outputs are plain logic, the high ones show a count."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        count = Signal(4)
        m.d.sync += count.eq(count + 1)
        m.d.comb += self.outputs[:4].eq(Mux(self.inputs[5], self.inputs[:4], 5))
        m.d.comb += self.outputs[4:].eq(count)
        return m


def values(*levels: int) -> np.ndarray[tuple[int], np.dtype[np.uint16]]:
    return np.array(levels, np.uint16)


def test_plain_logic_is_proved_and_state_once_the_restart_has_come() -> None:
    found = wrapper_netlist(sheet("half", "i7", "i6"), Half())
    assert (
        prove(found, values(0x80, 0x00, 0x40, 0xC0, 0x40, 0x00, 0x80, 0x00)).bits.tolist()
        == [0x0F] * 4 + [0xFF] * 5
    )
    # Restart let go in the very update of a step: counted or not.
    asked = values(0x40, 0xC0, 0x40, 0x80, 0x00)
    assert prove(found, asked).bits.tolist() == [0x0F] * 2 + [0xFF] * 2 + [0xEF] * 2


def test_a_race_has_a_line_that_something_remembers() -> None:
    found = wrapper_netlist(sheet("half", "i7", "i6"), Half())
    assert racing(found, values(0x40, 0xC0, 0x40, 0x83, 0x03, 0x00, 0x43, 0xC0)) == [3, 7]
    latch = wrapper_netlist(load_design("nor_latch"))
    assert racing(latch, values(0x03, 0x00)) == [0, 1]


def test_designs_of_the_catalogue() -> None:
    assert prove(wrapper_netlist(load_design("watch_vote")), values(0)).bits[-1] == 0xFF
    # The point of the dice is a switch, everything else comes from its register.
    assert prove(wrapper_netlist(load_design("dice")), values(0)).bits[-1] == 0x80


LOOP = r"""
module \top
  wire width 8 input 1 \inputs
  wire width 8 output 2 \outputs
  wire width 8 \loop
  cell $and \one
    parameter \A_SIGNED 0
    parameter \B_SIGNED 0
    parameter \A_WIDTH 1
    parameter \B_WIDTH 1
    parameter \Y_WIDTH 1
    connect \A \inputs [0]
    connect \B \loop [0]
    connect \Y \loop [0]
  end
  cell $not \two
    parameter \A_SIGNED 0
    parameter \A_WIDTH 2
    parameter \Y_WIDTH 2
    connect \A \inputs [2:1]
    connect \Y \loop [2:1]
  end
  cell $mux \three
    parameter \WIDTH 1
    connect \A \inputs [3]
    connect \B 1'x
    connect \S \inputs [4]
    connect \Y \loop [3]
  end
  connect \loop [7:4] 4'0x11
  connect \outputs \loop
end
"""


def test_what_is_undefined_is_not_proved() -> None:
    # A bit is undefined; another is where i4 selects it. i0 = 0 decides the loop; two inverters are none at all.
    assert prove(parse(LOOP), values(0)).bits[-1] == 0b1011_1111
    assert prove(parse(LOOP), values(0x10)).bits[-1] == 0b1011_0111


def test_a_golden_says_what_no_proof_was_tried_of(tmp_path: Path) -> None:
    """A memory of a kilobyte, written by two clocks."""
    (tmp_path / "store.v").write_text(
        "module store (input [7:0] inputs, output reg [7:0] outputs);\n"
        "    reg [7:0] rows [0:1023];\n    reg [9:0] at;\n"
        "    always @(posedge inputs[7]) begin at <= inputs[6] ? 0 : at + 1; outputs <= rows[at]; end\n"
        "    always @(posedge inputs[7]) rows[at] <= {inputs[3:0], at[3:0]};\n"
        "    always @(posedge inputs[5]) rows[at] <= 0;\nendmodule\n"
    )
    sheet, board = bare(tmp_path / "store.v", None, "i7", "i6"), load_board("quay")
    golden = predict(board, sheet, default_procedure(board, sheet, steps=20), power_ups=3)
    assert golden.facts["left_open"] == "memory rows has 8192 bits, so what it holds counts as unknown"
    assert not golden.proved[-1]
