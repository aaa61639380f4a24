"""Whether a contribution is ready: its datasheet, its source, its runs; and a folder to start one from."""
