"""The terminal: words and JSON out, keys in, and how far the work is while all cores are at it."""
