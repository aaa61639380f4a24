"""What each command does: from parsed options to printed answer and exit code."""
