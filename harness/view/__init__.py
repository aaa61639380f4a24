"""Pure drawing: state in, lines or pictures out."""
