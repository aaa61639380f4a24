"""What a datasheet may say, and what may be wired to a design."""
