"""Forelight foretells what the designs on a shared chip should show at the bench."""
