"""RTLIL text to a netlist: read, linked, lowered."""
