"""What is settled from any power-up, whichever way a race falls."""
