"""Foretells a slot of the quay board from Python, and checks a slip of the bench against it."""

from dataclasses import replace

from forelight.designs.catalogue import load_design
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import default_procedure

board = load_board("quay")
tide = load_design("tide_gauge")
procedure = default_procedure(board, tide, hz=2, steps=20, slot=101)
golden = predict(board, tide, procedure, slot=101)
print(f"{len(golden.ticks)} changes in {golden.end / golden.oscillator_hz:.3f} s")
print("last outputs:", format(golden.outputs[-1], "08b"), "settled:", format(golden.settled[-1], "08b"))

# The same slot with the hold switch left closed: the display stands still.
held = predict(
    board, tide, default_procedure(board, tide, hz=2, steps=20, slot=101, levels={"i0": 1}), slot=101
)
shown = {
    format(outputs, "08b")
    for outputs, settled in zip(held.outputs, held.settled, strict=True)
    if settled == 255
}
print("with i0 left closed it only shows", *shown)

# On a board with half as many positions everything happens twice as fast.
short = replace(board, name="short quay", positions=96)
print("frames a second:", float(board.frame_hz), "and", float(short.frame_hz))
