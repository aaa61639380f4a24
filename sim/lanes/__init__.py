"""Many variants of one netlist side by side: power-ups, inputs, stuck-at faults.

`gates` rewrites a netlist to one-bit gates, and this room rewrites those so that one word carries one bit of up to
512 or more variants: the same compiler runs them. What is alike in all lanes stays one bit, clocks above all. A clock
that differs from lane to lane is data: registers take part by a word of rises (`rewrite.py`); a clock that a fault
holds still in some lanes stays one bit, and those lanes keep what they have. LLVM keeps wide integers in general
registers, so the text is rewritten to vectors (`vectors.py` of the compiler); where most sites are stuck in one half
of the lanes alone, a word is two halves, since a mask that changes nothing in a half costs nothing there. Constants
are read from a table that LLVM cannot hoist, and a hundred registers lie in two copies of the state (`lane_clock.py`
there): both keep the loop from moving things on the stack. `faults.py` lists stuck-at sites of gates as drawn and
collapses them by equivalence, to the published counts.
"""
