"""What the language leaves open: found in a netlist, and drawn."""
