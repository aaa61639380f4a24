"""The fast frame-level bench: a procedure to a golden."""
