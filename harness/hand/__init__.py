"""A procedure in time: what the hand, the switches and the step clock do to each line, frame by frame."""
