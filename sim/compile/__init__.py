"""Netlist and schedule to machine code, one pass a file."""
