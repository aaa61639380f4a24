"""Many variants of one netlist side by side: power-ups, inputs, stuck-at faults."""
