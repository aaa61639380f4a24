"""Simulates a circuit with ports of its own, one update at a time and as a long run in machine code."""

from pathlib import Path

from forelight.designs import read
from forelight.sim import Simulation

netlist = read(Path(__file__).with_name("crane.v"))
crane = Simulation(netlist, power_up=1)  # all flip-flops wake up at 1
print("ports:", crane.inputs, crane.outputs)

crane.set_many({"restart": 1, "clk": 0})
crane.settle()
crane.set("clk", 1)
crane.settle()
print("height after the restart:", crane.get("height"))

crane.set_many({"restart": 0, "hoist": 1, "clk": 0})
heights = crane.run_clock("clk", cycles=30, observe="height")
print("hoisting:", *heights)

total = sum(int(block.sum()) for block in crane.stream_clock("clk", cycles=1_000_000, observe="top"))
print("of a million cycles more, the crane is at the top in", total)
