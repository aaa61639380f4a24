"""The shared chip in Amaranth, tick by tick."""
