"""What is proved of kilobytes of memory that one clock writes row by row."""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

import random

import numpy as np
import pytest
from amaranth.back import rtlil
from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.memory import Memory as AmaranthMemory
from amaranth.lib.wiring import In, Out
from forelight.sim import Simulation
from forelight.sim.proof.ternary import Proof
from forelight.sim.rtlil.reader import parse


class Recorder(wiring.Component):
    """Writes what stands on its inputs, with a count, row by row, and shows the row of half the depth before."""

    inputs: In(8)
    outputs: Out(8)

    def __init__(self, depth: int) -> None:
        super().__init__()
        self.depth = depth

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.memory = memory = AmaranthMemory(shape=8, depth=self.depth, init=[])
        write = memory.write_port()
        read = memory.read_port(transparent_for=(write,))
        place = Signal(range(self.depth))
        m.d.comb += [write.en.eq(1), write.addr.eq(place), write.data.eq(self.inputs ^ place)]
        m.d.comb += [read.en.eq(1), read.addr.eq(place + self.depth // 2), self.outputs.eq(read.data)]
        m.d.sync += place.eq(place + 1)
        return m


@pytest.mark.parametrize("depth", [1024, 8192])
def test_a_recorder_of_kilobytes(depth: int) -> None:
    """After the restart, half a round shows rows that may be anything, and from then on all is known."""
    netlist = parse(rtlil.convert(Recorder(depth)))
    proof, sims = Proof(netlist), [Simulation(netlist, random.Random(seed)) for seed in range(20)]
    assert not proof.in_rounds
    assert proof.left_open == ()
    for levels in ({"inputs": 9}, {"rst": 1}, {"clk": 1}, {"clk": 0}, {"rst": 0}):
        proof.update(levels)
        for sim in sims:
            sim.set_many(levels)
            sim.settle()
    values = (np.arange(1, 4 * depth + 1) & 1).astype(np.uint8)
    shown, known = proof.run("clk", values, "outputs")
    assert not known[: depth - 8].any()
    assert (known[depth + 8 :] == 0xFF).all()
    for sim in sims:
        assert not ((sim.run_samples("clk", values, "outputs") ^ shown) & known).any()
