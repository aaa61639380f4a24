"""RTLIL text to a netlist: read, linked, lowered.

What each kind of cell means is Yosys' cell library reference: its models (`simlib.v`, `simcells.v`) under Icarus
Verilog judge every kind, and Yosys' own `sim` all but eight (`tests/sim/test_yosys_sim.py` prints the table).
"""
