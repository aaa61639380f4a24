"""Change-only traces, and the files that hold them: VCD and CSV."""
