"""The catalogue: what the people of Breakwater sent in, one folder a design."""
