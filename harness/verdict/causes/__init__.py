"""What could have gone wrong at the bench: each cause foretold, and compared with what was recorded."""
