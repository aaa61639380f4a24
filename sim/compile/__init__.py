"""Netlist and schedule to machine code, one pass a file.

Three shapes of code come from the same cells:

- in values (`update.py`, `loop.py`, `clock.py`): a whole update inline, state in LLVM values;
- split (`clock.py`, `tune.py`): for long runs at constant inputs, a copy of the body for each value of a control word
  that profiling found, with everything known folded (`fold.py`) and each copy jumping to those seen to follow it.
  Several candidates are compiled in the background and timed; the fastest takes over in the middle of the run;
- in memory (`resident.py`, `regions.py`): netlists with more than 1024 bits of state keep it in memory; each clock
  group is divided by condition, so what holds costs one test for all that hold together.
"""
