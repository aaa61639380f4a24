"""A recording against a prediction."""
