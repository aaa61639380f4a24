"""How much of a design a run tries: the stuck-at faults that its outputs would reveal, and runs that reveal more.

Faults are those of the netlist of gates as drawn, in which only what constants decide is folded: so the counts are the
published ones of circuits that are drawn in gates, and a design in words has no faults that its silicon could not have.
Lines that do nothing but clock registers have none, as in those counts. A fault counts as revealed where a settled bit
is another than foretold, whatever the flip-flops held at power-up: from all at 0, all at 1, and a random state.
"""
