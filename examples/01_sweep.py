"""Tries all 256 levels of the switches on a design of plain logic, and compares what it shows with products."""

import forelight
import numpy as np

netlist = forelight.read("speed_time")  # knots on i0 to i3, hours on i4 to i7
boat = forelight.Simulation(netlist)
switches = np.arange(256)
miles = boat.run_samples("inputs", switches, "outputs")
wrong = np.flatnonzero(miles != (switches & 15) * (switches >> 4))
print("switches at which the miles are not knots times hours:", len(wrong))
print("six knots for seven hours:", miles[7 << 4 | 6])
