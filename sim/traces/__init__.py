"""Change-only traces, and VCD, which holds them in files."""
