"""Verilog text after its preprocessor, read as tokens: refused, warned of, or rewritten where Yosys errs."""
