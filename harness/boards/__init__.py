"""Board profiles with their rosters, and their reader."""
