"""Designs that read a serial memory, on both kinds of board: the loop is closed by a plain model, frame by frame."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.designs.sheets.reader import load
from forelight.harness.attach.report import reports
from forelight.harness.bench.course import seated
from forelight.harness.bench.predict import predict
from forelight.harness.boards.profile import Board
from forelight.harness.boards.reader import load_board
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.golden.golden import Golden
from forelight.harness.hand.routine import bring_up
from forelight.sim import Simulation
from forelight.sim.errors import UsageError
from numpy.typing import NDArray

from .spi import ModelMemory

#: Reads bytes from address 2 on, one bit in two steps, and puts out each bit where it takes it: at the rise of sck.
READER = """
module reader(input [7:0] inputs, output [7:0] outputs);
  wire step = inputs[7], restart = inputs[6], so = inputs[0];
  reg [8:0] half; reg last; reg [2:0] got; reg cs, sck;
  wire [31:0] head = {8'h03, 24'd2};
  always @(posedge step)
    if (restart) begin half <= 0; last <= 0; got <= 0; cs <= 1; sck <= 0; end
    else begin
      cs <= 0;
      if (!cs) begin
        half <= half + 1; sck <= ~half[0];
        if (!half[0]) begin got <= {got[1:0], so}; last <= so; end
      end
    end
  wire si = half[8:1] < 32 ? head[31 - half[5:1]] : 1'b0;
  assign outputs = {got, last, 1'b0, si, sck, cs};
endmodule
"""
SHEET = """title = "Reader"
source = ["design.v"]
module = "reader"
step = { line = "i7", wanted_hz = 100 }
restart = { line = "i6" }
[[attach]]
kind = "serial memory"
lines = { cs = "o0", sck = "o1", si = "o2", so = "i0" }
options = { image = "image.bin", address_bytes = 3 }
"""
Array = NDArray[Any]
DATA = bytes(random.Random(5).randbytes(13))


def reader(folder: Path, text: str = READER) -> Datasheet:
    (folder / "design.v").write_text(text)
    (folder / "image.bin").write_bytes(DATA)
    (folder / "datasheet.toml").write_text(SHEET)
    return load(folder)


def procedure(code: int, steps: int = 280, more: str = "") -> Procedure:
    actions = [f"strap {code}", "restart 2", f"steps {steps}", *([more] if more else [])]
    return Procedure("read", parse(tuple(actions), "test"))


def by_frame(golden: Golden, board: Board) -> tuple[Array, Array, Array]:
    """Inputs, pins and settled bits after each frame."""
    ends = np.arange(board.frame_ticks - 1, golden.end, board.frame_ticks)
    row = np.searchsorted(golden.ticks, ends, side="right") - 1
    return golden.inputs[row], golden.outputs[row], golden.settled[row]


def check_loop(golden: Golden, sheet: Datasheet, board: Board) -> int:
    """Pins to `so` by the model, inputs to pins by the design alone; returns how often `so` moved."""
    inputs, pins, settled = by_frame(golden, board)
    first = int(
        np.flatnonzero((settled == 0xFF) & (pins & 1 == 1))[0]
    )  # selected by nobody: the model knows its state
    model = ModelMemory(DATA, 3)
    chained = board.link == "chain"
    answers = [model.levels(pin & 1, pin >> 1 & 1, pin >> 2 & 1) for pin in pins[first:].tolist()]
    so = np.array([board.pulls.get("i0", 0) if answer is None else answer for answer in answers])
    reaching = inputs[first:] & 1
    assert np.array_equal(reaching[1:], so[:-1]) if chained else np.array_equal(reaching, so)
    simulation = Simulation(wrapper_netlist(sheet))
    shown = simulation.run_samples("inputs", inputs, "outputs")
    assert np.array_equal(pins[first + 1 :], shown[first:-1] if chained else shown[first + 1 :])
    return int(np.count_nonzero(np.diff(so)))


def taken(golden: Golden, board: Board) -> bytes:
    """The bits that the design took, read off its own output a step after each rise of sck at the pins."""
    _, pins, settled = by_frame(golden, board)
    pins = pins[np.flatnonzero((settled == 0xFF) & (pins & 1 == 1))[0] :]
    sck = pins >> 1 & 1
    rises = np.flatnonzero((sck[1:] == 1) & (sck[:-1] == 0)) + 1
    bits = (pins[rises] >> 4 & 1)[32:]
    return np.packbits(bits[: len(bits) // 8 * 8]).tobytes()


@pytest.mark.parametrize(("name", "code"), [("quay", 1), ("quay", 2), ("quay", 29), ("mole", 3)])
def test_what_is_in_the_memory_is_read_through_the_link(tmp_path: Path, name: str, code: int) -> None:
    board, sheet = load_board(name), reader(tmp_path)
    brought = bring_up(board, sheet, code=code)
    golden = predict(board, sheet, Procedure("read", (*brought, *procedure(code).actions)), power_ups=16)
    assert taken(golden, board)[:12] == (DATA[2:] + b"\xff" * 3 + DATA)[:12]
    assert check_loop(golden, sheet, board) > 20
    _, _, settled = by_frame(golden, board)
    assert (settled[-1000:] == 0xFF).all()


def test_at_the_fastest_step_the_answer_meets_the_next_step_and_nobody_can_tell(tmp_path: Path) -> None:
    # Two frames to and fro are one step at code 0: the bit arrives in the instant in which it is taken.
    board, sheet = load_board("quay"), reader(tmp_path)
    golden = predict(board, sheet, procedure(0), power_ups=16)
    _, _, settled = by_frame(golden, board)
    assert set(settled[-100:] & 0xF0) != {0xF0}
    slower = predict(board, sheet, procedure(1), power_ups=16)
    assert (by_frame(slower, board)[2][-100:] == 0xFF).all()


def test_without_memory_or_with_another_image_it_is_another_netlist(tmp_path: Path) -> None:
    board, sheet = load_board("quay"), reader(tmp_path)
    first = str(seated(board, sheet).netlist)
    (tmp_path / "image.bin").write_bytes(DATA[::-1])
    assert str(seated(board, sheet).netlist) != first
    assert seated(board, sheet).memories[0].data == DATA[::-1]


def test_a_closed_switch_on_the_line_of_the_memory_is_refused(tmp_path: Path) -> None:
    board, sheet = load_board("quay"), reader(tmp_path)
    with pytest.raises(UsageError) as error:
        predict(board, sheet, procedure(1, 200, "set i0=1"), power_ups=1)
    assert "the switch of i0 is closed while the serial memory drives the line" in str(error.value)
    assert "leave i0 at 0 while the memory is read" in str(error.value)


def test_strapping_closes_switches_too(tmp_path: Path) -> None:
    board, sheet = load_board("quay"), reader(tmp_path)
    with pytest.raises(UsageError, match="the switch of i0 is closed"):
        predict(board, sheet, procedure(1, 200, "strap 1"), power_ups=1)


def test_a_run_with_too_many_frames_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="frames in which a memory may answer"):
        predict(
            load_board("quay"), reader(tmp_path), Procedure("x", parse(("strap 255", "wait 5000 s"), "t"))
        )


def test_seats_that_are_left_and_taken_again(tmp_path: Path) -> None:
    """Another slot is selected in the middle of a reading: the design and its memory stand still meanwhile."""
    board, sheet = load_board("quay"), reader(tmp_path)
    actions = (
        "select 0",
        "strap 1",
        "restart 2",
        "steps 150",
        "disable",
        "select 1",
        "wait 0.1 s",
        "select 0",
    )
    whole = Procedure("x", parse((*actions, "strap 2", "wait 0.5 s"), "t"))
    golden = predict(board, sheet, whole, slot=0, power_ups=4)
    assert (by_frame(golden, board)[2][-1000:] == 0xFF).all()


def test_the_report_says_so(tmp_path: Path) -> None:
    board, sheet = load_board("quay"), reader(tmp_path)
    (fast,) = reports(sheet, predict(board, sheet, procedure(0), power_ups=16))
    (slow,) = reports(sheet, predict(board, sheet, procedure(1), power_ups=16))
    assert slow.heading == "Serial memory with image.bin: read 1 time, no faults"
    assert slow.lines[0].endswith(f"from 2h: {(DATA[2:] + bytes([255] * 3) + DATA)[:13].hex(' ').upper()}")
    assert any("i0 moves in the instant of a step" in line for line in fast.lines)
