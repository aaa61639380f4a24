"""A question about one slot, and what several commands tell of its answer."""
