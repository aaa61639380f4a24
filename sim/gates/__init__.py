"""Word-level netlist to one-bit gates."""
