"""Bench recordings: readers, time base, alignment and verdict."""
